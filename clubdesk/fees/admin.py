"""Screens of the fees room: the schedule, charges, receipts, vouchers; and its buttons on a household's page."""

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import admin
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.fees import accounts, selectors, services
from clubdesk.fees.models import (
    PAID_BY,
    Arrangement,
    Charge,
    FeeItem,
    FeePrice,
    FeeShare,
    Lodgement,
    Method,
    Receipt,
    Repayment,
    Voucher,
    VoucherScheme,
    VoucherState,
    VoucherValue,
    WriteOff,
)
from clubdesk.mail.models import Message
from clubdesk.money import AmountFormField, as_amount, cash_rounded, nil, shown
from clubdesk.roll.admin import HouseholdAdmin
from clubdesk.roll.models import Household, Person
from clubdesk.screens import (
    DateInput,
    DayField,
    DocumentAdmin,
    HappenedField,
    RoomAdmin,
    Section,
    VerbForm,
    VerbPage,
    amount_column,
    link_to,
)

MOST_PARTS = 6


def reason_field(help_text: str = "In a few words.") -> forms.CharField:
    return forms.CharField(label="Reason", max_length=150, help_text=help_text)


class ReceiptForm(VerbForm):
    amount = AmountFormField(help_text="What it settles. In cash, five-cent rounding is worked out for you.")
    method = forms.ChoiceField(
        label="Paid by",
        choices=[(each.value, each.label) for each in PAID_BY],
        widget=forms.RadioSelect,
        initial=Method.CASH,
    )
    on = HappenedField(label="Received on")
    reference = forms.CharField(required=False, max_length=60)
    charges = forms.ModelMultipleChoiceField(
        label="Pays for",
        queryset=Charge.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Tick none, and the oldest is paid first.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["charges"]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = selectors.open_charges(self.target)
        if not field.queryset.exists():
            del self.fields["charges"]
        field.label_from_instance = lambda charge: f"{charge}: {shown(charge.open_amount)}"


class ReceivePage(VerbPage):
    slug = "receipt"
    title = "Record a receipt"
    button = "Record the receipt"
    permission = "fees.add_receipt"
    form_class = ReceiptForm

    def heading(self, target: Household) -> str:
        return f"Receipt from {target}"

    def facts(self, target: Household) -> list[tuple[str, Any]]:
        owed = selectors.balance(target)
        facts = [("The household", selectors.balance_in_words(target))]
        if owed > nil() and cash_rounded(owed) != owed:
            facts.append(("In cash", shown(cash_rounded(owed))))
        return facts

    def initial(self, request: HttpRequest, target: Household) -> dict[str, Any]:
        owed = selectors.balance(target)
        start = {"amount": owed.amount} if owed > nil() else {}
        return start | super().initial(request, target)

    def perform(self, *, target: Household, by: Any, **cleaned: Any) -> Receipt:
        return services.record_receipt(household=target, by=by, **cleaned)

    def done(self, result: Receipt) -> str:
        handed = f" ({shown(result.handed_over)} in cash)" if result.rounding != nil() else ""
        return f"{result}: {shown(result.amount)} from {result.household}{handed}."


class ChargeForm(VerbForm):
    item = forms.ModelChoiceField(label="Fee", queryset=FeeItem.objects.all())
    person = forms.ModelChoiceField(label="For", queryset=Person.objects.none(), required=False)
    on = HappenedField(label="Charged on")
    starts_on = DayField(label="Starts on", help_text="The day the thing paid for starts; income waits until then.")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = self.target.people.all()  # type: ignore[attr-defined]


class ChargePage(VerbPage):
    slug = "charge"
    title = "Charge a fee"
    button = "Charge the fee"
    permission = "fees.add_charge"
    form_class = ChargeForm

    def heading(self, target: Household) -> str:
        return f"Charge a fee to {target}"

    def perform(self, *, target: Household, by: Any, item: FeeItem, starts_on: Any, **cleaned: Any) -> Charge:
        price = selectors.price_on(item, starts_on)
        return services.charge(household=target, price=price, starts_on=starts_on, by=by, **cleaned)

    def done(self, result: Charge) -> str:
        return f"{result}: {shown(result.amount)} charged to {result.household}."


def account_section(request: HttpRequest, household: Household) -> Section:
    """Charges and receipts of the household, newest first, under its balance."""
    charges = selectors.charges_with_open().filter(household=household).order_by("-charged_on", "-pk")
    rows = [
        (charge.charged_on, link_to(charge), charge.amount, as_amount(charge.open_amount)) for charge in charges[:30]
    ]
    title = f"Account: {selectors.balance_in_words(household)}"
    return Section(title, ["Charged", "For", "Amount", "Still to pay"], rows, "Nothing has been charged yet.")


def receipts_section(request: HttpRequest, household: Household) -> Section:
    rows = [
        (row.received_on, link_to(row), row.get_method_display(), row.amount, "cancelled" if row.cancelled_on else "")
        for row in household.receipts.all()[:30]
    ]
    return Section("Receipts", ["Received", "Receipt", "By", "Amount", ""], rows)


class StatementStep(VerbPage):
    slug = "statement"
    routed = False
    title = "Statement (PDF)"
    permission = "fees.view_charge"

    def url(self, target: Any) -> str:
        return reverse("admin:household_statement", args=[target.pk])


class SendStatementPage(VerbPage):
    slug = "send-statement"
    title = "Write to them about their account"
    intro = "A letter with what is owed, the payment reference, and the family’s own link to the whole statement."
    button = "Send the letter"
    permission = "fees.add_receipt"

    def facts(self, target: Household) -> list[tuple[str, Any]]:
        to = ", ".join(each.email for each in target.guardians.all() if each.email) or "no e-mail address"
        return [("The household", selectors.balance_in_words(target)), ("To", to)]

    def perform(self, *, target: Household, by: Any, key: Any) -> Household:
        services.send_statement(household=target, on=clock.today(), by=by)
        return target

    def done(self, result: Household) -> str:
        return f"The letter to {result} is written; it goes out by itself, once a day at most."


class SendStatementsPage(VerbPage):
    """To all who owe, at once; hangs at the charges, since it is about all of them."""

    title = "Write to all who owe"
    intro = "Each household that owes gets its letter, once a day at most."
    button = "Send the letters"
    permission = "fees.add_receipt"

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        families = accounts.who_owes()
        reached = sum(any(each.email for each in family.guardians.all()) for family in families)
        return [("Households that owe", len(families)), ("Of them with an e-mail address", reached)]

    def perform(self, *, target: Any, by: Any, key: Any) -> list[Message]:
        return services.send_statements(on=clock.today(), by=by)

    def done(self, result: list[Message]) -> str:
        return f"{len(result)} letters are written; they go out by themselves."

    def destination(self, result: list[Message]) -> str:
        return reverse("admin:mail_message_changelist")


class PartsForm(VerbForm):
    note = forms.CharField(required=False, max_length=150, help_text="For instance: agreed by phone with Ida.")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for number in range(1, MOST_PARTS + 1):
            self.fields[f"due_{number}"] = DayField(label=f"Part {number}: by", initial=None, required=number == 1)
            self.fields[f"amount_{number}"] = AmountFormField(label=f"Part {number}: amount", required=number == 1)
        self.order_fields([name for name in self.fields if name != "note"])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        pairs = [(cleaned.get(f"due_{number}"), cleaned.get(f"amount_{number}")) for number in range(1, MOST_PARTS + 1)]
        if any(bool(due) != bool(amount) for due, amount in pairs):
            raise forms.ValidationError("Each part needs its day and its amount.")
        return {
            "parts": [pair for pair in pairs if pair[0]],
            "note": cleaned.get("note", ""),
            "key": cleaned.get("key"),
        }


class PartsPage(VerbPage):
    slug = "parts"
    title = "Agree on parts"
    intro = "The family pays what it owes in parts, each by its day; the parts together are what it owes."
    button = "Save the arrangement"
    permission = "fees.add_arrangement"
    form_class = PartsForm

    def applies(self, target: Household) -> bool:
        return selectors.balance(target) > nil()

    def facts(self, target: Household) -> list[tuple[str, Any]]:
        return [("The household", selectors.balance_in_words(target))]

    def perform(self, *, target: Household, by: Any, parts: Any, note: str, key: Any) -> Household:
        services.agree_parts(household=target, parts=parts, note=note, on=clock.today(), by=by, key=key)
        return target

    def done(self, result: Household) -> str:
        return f"Agreed with {result}; it stands on the statement."


class EndPartsPage(VerbPage):
    slug = "end-parts"
    title = "End the arrangement"
    button = "End the arrangement"
    permission = "fees.add_arrangement"

    def applies(self, target: Household) -> bool:
        return target.arrangements.filter(ended_on=None).exists()

    def perform(self, *, target: Household, by: Any, key: Any) -> Household:
        standing = target.arrangements.get(ended_on=None)
        services.end_arrangement(arrangement=standing, on=clock.today(), by=by)
        return target


def parts_section(request: HttpRequest, household: Household) -> Section | None:
    statement = accounts.statement(household, clock.today()) if EndPartsPage().applies(household) else None
    return Section("Pays in parts", ["By", "Amount", ""], statement.parts()) if statement else None


HouseholdAdmin.pages += [
    ReceivePage(),
    ChargePage(),
    StatementStep(),
    SendStatementPage(),
    PartsPage(),
    EndPartsPage(),
]
HouseholdAdmin.section_makers += [account_section, parts_section, receipts_section]


class CreditForm(VerbForm):
    amount = AmountFormField(help_text="All that is left of the charge, unless you write less.")
    on = HappenedField(label="Credited on")
    reason = reason_field()


class CreditPage(VerbPage):
    slug = "credit"
    title = "Credit this charge"
    intro = "Takes the charge, or part of it, back. What was paid towards it becomes the household's credit."
    button = "Credit the charge"
    permission = "fees.add_chargecredit"
    form_class = CreditForm

    def applies(self, target: Charge) -> bool:
        return selectors.creditable(target) > nil()

    def facts(self, target: Charge) -> list[tuple[str, Any]]:
        return [("Charge", target), ("Can be credited", selectors.creditable(target))]

    def initial(self, request: HttpRequest, target: Charge) -> dict[str, Any]:
        return {"amount": selectors.creditable(target).amount}

    def perform(self, *, target: Charge, by: Any, **cleaned: Any) -> Charge:
        return services.credit_charge(charge=target, by=by, **cleaned).charge

    def done(self, result: Charge) -> str:
        return f"Credited: {result}."


class WriteOffPage(VerbPage):
    slug = "write-off"
    title = "Write this debt off"
    intro = (
        "The club no longer expects it to be paid: it becomes an expense of the year, and the family owes it no "
        "longer. Who may decide that is for the club’s rules to say."
    )
    button = "Write it off"
    permission = "fees.add_writeoff"
    form_class = CreditForm

    def applies(self, target: Charge) -> bool:
        started = target.recognised_on is not None or not target.waits
        return started and selectors.open_amount(target) > nil()

    def facts(self, target: Charge) -> list[tuple[str, Any]]:
        return [("Charge", target), ("Still to pay", selectors.open_amount(target))]

    def initial(self, request: HttpRequest, target: Charge) -> dict[str, Any]:
        return {"amount": selectors.open_amount(target).amount}

    def perform(self, *, target: Charge, by: Any, **cleaned: Any) -> Charge:
        return services.write_off(charge=target, by=by, **cleaned).charge

    def done(self, result: Charge) -> str:
        return f"Written off: {result}."


class TakeUpForm(VerbForm):
    on = HappenedField(label="Taken up on")
    reason = reason_field("For instance: the family has paid after all.")


class TakeUpPage(VerbPage):
    slug = "take-up"
    title = "Take the debt up again"
    intro = "The write-off is reversed and the family owes it again."
    button = "Take it up again"
    permission = "fees.add_writeoff"
    form_class = TakeUpForm

    def applies(self, target: WriteOff) -> bool:
        return target.cancelled_on is None

    def facts(self, target: WriteOff) -> list[tuple[str, Any]]:
        return [("Charge", target.charge), ("Written off", target.amount)]

    def perform(self, *, target: WriteOff, by: Any, on: Any, reason: str, key: Any) -> WriteOff:
        return services.take_up_again(write_off=target, on=on, reason=reason, by=by)

    def done(self, result: WriteOff) -> str:
        return f"{result.charge} is owed again."


@admin.register(WriteOff)
class WriteOffAdmin(DocumentAdmin):
    list_display = ["charge", "written_off_on", "amount_shown", "reason", "cancelled_on"]
    list_select_related = ["charge"]
    search_fields = ["charge__description", "charge__household__name"]
    search_help_text = "A fee or family"
    fields = ["charge", "amount_shown", "written_off_on", "reason", "recorded_by", "cancelled_on", "cancel_reason"]
    readonly_fields = fields
    pages = [TakeUpPage()]
    amount_shown = amount_column("amount", "Amount")


@admin.register(Arrangement)
class ArrangementAdmin(DocumentAdmin):
    list_display = ["household", "agreed_on", "ended_on", "note"]
    list_select_related = ["household"]
    search_fields = ["household__name"]
    fields = ["household", "agreed_on", "note", "ended_on", "recorded_by"]
    readonly_fields = fields


class VoucherForm(VerbForm):
    scheme = forms.ModelChoiceField(queryset=VoucherScheme.objects.all())
    code = forms.CharField(label="Voucher code", max_length=30, widget=forms.TextInput({"autocomplete": "off"}))
    birth_date = forms.DateField(
        label="Date of birth on the voucher",
        widget=DateInput,
        help_text="It is compared with the roll and not kept.",
    )
    on = HappenedField(label="Accepted on")


class VoucherPage(VerbPage):
    slug = "voucher"
    title = "Accept a sport voucher"
    intro = "It pays at most the fee. What the family has paid of that becomes its credit."
    button = "Accept the voucher"
    permission = "fees.add_voucher"
    form_class = VoucherForm

    def applies(self, target: Charge) -> bool:
        return target.person_id is not None and selectors.creditable(target) > nil()

    def facts(self, target: Charge) -> list[tuple[str, Any]]:
        return [("Charge", target), ("Fee", target.amount), ("Still to pay", selectors.open_amount(target))]

    def initial(self, request: HttpRequest, target: Charge) -> dict[str, Any]:
        only = VoucherScheme.objects.all()[:2]
        return {"scheme": only[0].pk} if len(only) == 1 else {}

    def perform(self, *, target: Charge, by: Any, **cleaned: Any) -> Voucher:
        return services.accept_voucher(charge=target, by=by, **cleaned)

    def done(self, result: Voucher) -> str:
        return f"Voucher accepted: {shown(result.amount)} of {result.charge} is now owed by the department."


def settled_section(request: HttpRequest, charge: Charge) -> Section:
    rows: list[tuple[Any, ...]] = [
        (part.receipt.received_on, link_to(part.receipt), part.amount)
        for part in charge.allocations.standing().select_related("receipt")
    ]
    rows += [
        (voucher.accepted_on, link_to(voucher, f"Voucher {voucher.get_state_display().lower()}"), voucher.amount)
        for voucher in charge.vouchers.select_related("scheme", "person")
    ]
    rows += [(credit.credited_on, f"Credited: {credit.reason}", credit.amount) for credit in charge.credits.all()]
    rows += [
        (each.written_off_on, link_to(each, f"Written off: {each.reason}"), each.amount)
        for each in charge.write_offs.filter(cancelled_on=None).select_related("charge")
    ]
    return Section(f"Still to pay: {shown(selectors.open_amount(charge))}", ["On", "Settled by", "Amount"], rows)


@admin.register(Charge)
class ChargeAdmin(DocumentAdmin):
    list_display = ["description", "household", "charged_on", "starts_on", "amount_shown", "open_shown"]
    list_select_related = ["household"]
    search_fields = ["description", "household__name"]
    search_help_text = "A fee, child or family"
    date_hierarchy = "charged_on"
    fields = ["household", "person", "description", "amount_shown", "charged_on", "starts_on", "recognised_on"]
    readonly_fields = fields
    pages = [VoucherPage(), CreditPage(), WriteOffPage()]
    section_makers = [settled_section]
    amount_shown = amount_column("amount", "Amount")

    def get_queryset(self, request: HttpRequest) -> Any:
        return selectors.charges_with_open().order_by("-charged_on", "-pk")

    @admin.display(description="Still to pay", ordering="open_amount")
    def open_shown(self, charge: Any) -> str:
        return shown(charge.open_amount)


class CancelForm(VerbForm):
    on = HappenedField(label="Cancelled on")
    reason = reason_field("For instance: typed for the wrong family.")


class CancelReceiptPage(VerbPage):
    slug = "cancel"
    title = "Cancel this receipt"
    intro = "For a receipt recorded by mistake: the entry is reversed and what it paid is open again."
    button = "Cancel the receipt"
    permission = "fees.change_receipt"
    form_class = CancelForm

    def applies(self, target: Receipt) -> bool:
        return target.cancelled_on is None

    def facts(self, target: Receipt) -> list[tuple[str, Any]]:
        return [("From", target.household), ("Amount", target.amount), ("Received on", target.received_on)]

    def perform(self, *, target: Receipt, by: Any, on: Any, reason: str, key: Any) -> Receipt:
        return services.cancel_receipt(receipt=target, on=on, reason=reason, by=by)

    def done(self, result: Receipt) -> str:
        return f"{result} is cancelled."


class PayForm(VerbForm):
    charges = forms.ModelMultipleChoiceField(
        Charge.objects.none(),
        label="What it is for",
        widget=forms.CheckboxSelectMultiple,
        help_text="What is left over pays the oldest of the other fees.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        rows = Charge.objects.filter(household=self.target.household, taken_back_on=None).order_by("charged_on", "pk")
        self.fields["charges"].queryset = rows  # type: ignore[attr-defined]


class PayPage(VerbPage):
    slug = "pays"
    title = "Let it pay another fee"
    intro = "For a payment that was meant for another child or fee. The household owes the same, so nothing is posted."
    button = "Save"
    permission = "fees.add_receipt"
    form_class = PayForm

    def applies(self, target: Receipt) -> bool:
        return target.cancelled_on is None

    def facts(self, target: Receipt) -> list[tuple[str, Any]]:
        now = ", ".join(
            str(part.charge or part.repayment) for part in target.allocations.standing().select_related("charge")
        )
        return [("Amount", target.amount), ("Pays now", now or "nothing yet")]

    def perform(self, *, target: Receipt, by: Any, charges: Any, key: Any) -> Receipt:
        return services.pay_with(receipt=target, charges=list(charges), on=clock.today(), by=by)

    def done(self, result: Receipt) -> str:
        return f"{result} pays what was chosen."


class ReceiptStep(VerbPage):
    slug = "pdf"
    routed = False
    title = "Receipt to print (PDF)"
    permission = "fees.view_receipt"

    def url(self, target: Any) -> str:
        return reverse("admin:receipt_pdf", args=[target.pk])


def pays_section(request: HttpRequest, receipt: Receipt) -> Section:
    rows = [
        (link_to(part.charge) if part.charge else str(part.repayment), part.amount)
        for part in receipt.allocations.standing().select_related("charge", "repayment__household")
    ]
    return Section("What it pays", ["For", "Amount"], rows, "Nothing yet: it stands as credit.")


@admin.register(Receipt)
class ReceiptAdmin(DocumentAdmin):
    list_display = ["__str__", "household", "received_on", "method", "amount_shown", "cancelled_on"]
    list_select_related = ["household"]
    list_filter = ["method"]
    search_fields = ["household__name", "reference"]
    date_hierarchy = "received_on"
    fields = [
        "household", "received_on", "method", "amount_shown", "rounding_shown", "reference",
        "cancelled_on", "cancel_reason", "recorded_by",
    ]  # fmt: skip
    readonly_fields = fields
    pages = [ReceiptStep(), PayPage(), CancelReceiptPage()]
    section_makers = [pays_section]
    amount_shown = amount_column("amount", "Amount")
    rounding_shown = amount_column("rounding", "Cash rounding")


@admin.register(Repayment)
class RepaymentAdmin(DocumentAdmin):
    list_display = ["household", "paid_on", "amount_shown", "reference", "returned_on"]
    list_select_related = ["household"]
    search_fields = ["household__name"]
    fields = ["household", "paid_on", "amount_shown", "reference", "recorded_by", "returned_on", "return_reason"]
    readonly_fields = fields
    amount_shown = amount_column("amount", "Amount")


class LodgeForm(VerbForm):
    scheme = forms.ModelChoiceField(queryset=VoucherScheme.objects.all())
    on = HappenedField(label="Lodged on")


class LodgePage(VerbPage):
    title = "Lodge the accepted vouchers"
    intro = "Every accepted voucher of the scheme goes into one batch for the department."
    button = "Lodge them"
    permission = "fees.add_lodgement"
    form_class = LodgeForm

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        return [("Accepted and waiting", Voucher.objects.filter(state=VoucherState.ACCEPTED).count())]

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Lodgement:
        return services.lodge_vouchers(by=by, **cleaned)


class AnswerForm(VerbForm):
    """What the department paid of each voucher, or why it refused it."""

    on = HappenedField(label="Answered on")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.vouchers = list(self.target.vouchers.filter(state=VoucherState.LODGED).select_related("person"))
        for voucher in self.vouchers:
            self.fields[f"paid_{voucher.pk}"] = AmountFormField(
                label=f"{voucher.person}, {voucher.masked_code}: paid", initial=voucher.amount.amount, required=False
            )
            self.fields[f"why_{voucher.pk}"] = forms.CharField(
                label=f"{voucher.person}: or refused, because", max_length=150, required=False
            )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        paid, refused = {}, {}
        for voucher in self.vouchers:
            if why := cleaned.get(f"why_{voucher.pk}"):
                refused[voucher.pk] = why
            elif amount := cleaned.get(f"paid_{voucher.pk}"):
                paid[voucher.pk] = amount
        return {"on": cleaned.get("on"), "key": cleaned.get("key"), "paid": paid, "refused": refused}


class AnswerPage(VerbPage):
    slug = "answer"
    title = "The department has answered"
    intro = (
        "Line by line: what was paid, or the reason why not. What was paid comes in one sum into the bank; what was "
        "refused or paid short the family owes again, and is told."
    )
    button = "Record the answer"
    permission = "fees.change_lodgement"
    form_class = AnswerForm

    def applies(self, target: Lodgement) -> bool:
        return target.paid_on is None and target.vouchers.filter(state=VoucherState.LODGED).exists()

    def facts(self, target: Lodgement) -> list[tuple[str, Any]]:
        vouchers = target.vouchers.filter(state=VoucherState.LODGED)
        return [("Vouchers", len(vouchers)), ("Claimed", sum((each.amount for each in vouchers), nil()))]

    def perform(self, *, target: Lodgement, by: Any, on: Any, paid: Any, refused: Any, key: Any) -> Lodgement:
        return services.answer_lodgement(lodgement=target, paid=paid, refused=refused, on=on, by=by)

    def done(self, result: Lodgement) -> str:
        return f"The answer to {result} is recorded."


class ListStep(VerbPage):
    slug = "list"
    routed = False
    title = "List for the department (CSV)"
    permission = "fees.add_lodgement"

    def url(self, target: Any) -> str:
        return reverse("admin:lodgement_list", args=[target.pk])


def batch_section(request: HttpRequest, lodgement: Lodgement) -> Section:
    rows = [
        (link_to(row, str(row.person)), row.masked_code, row.get_state_display(), row.claimed, row.short_by)
        for row in lodgement.vouchers.select_related("person", "scheme")
    ]
    return Section("Vouchers", ["Child", "Code", "State", "Claimed", "Paid short by"], rows)


@admin.register(Lodgement)
class LodgementAdmin(DocumentAdmin):
    list_display = ["__str__", "scheme", "lodged_on", "paid_on"]
    list_select_related = ["scheme"]
    fields = ["scheme", "lodged_on", "paid_on", "recorded_by"]
    readonly_fields = fields
    add_page = LodgePage()
    pages = [AnswerPage(), ListStep()]
    section_makers = [batch_section]


class RefuseForm(VerbForm):
    on = HappenedField(label="Refused on")
    reason = reason_field("The department's own words.")


class RefuseVoucherPage(VerbPage):
    slug = "refuse"
    title = "The department refused this voucher"
    intro = "The family owes this part of the fee again, and is told by letter."
    button = "Record the refusal"
    permission = "fees.change_voucher"
    form_class = RefuseForm

    def applies(self, target: Voucher) -> bool:
        return target.state in (VoucherState.ACCEPTED, VoucherState.LODGED)

    def facts(self, target: Voucher) -> list[tuple[str, Any]]:
        return [("Child", target.person), ("Amount", target.amount)]

    def perform(self, *, target: Voucher, by: Any, on: Any, reason: str, key: Any) -> Voucher:
        return services.refuse_voucher(voucher=target, on=on, reason=reason, by=by)

    def done(self, result: Voucher) -> str:
        return f"Refused: {result}. {result.charge.household} {selectors.balance_in_words(result.charge.household)}."


class ReleaseForm(VerbForm):
    on = HappenedField(label="On")
    reason = reason_field("For instance: set against the wrong fee.")


class ReleaseVoucherPage(RefuseVoucherPage):
    slug = "release"
    title = "Take this voucher back"
    intro = (
        "For a code set against the wrong fee or child. The family owes this part again; the child can use the code."
    )
    button = "Take it back"
    permission = "fees.add_voucher"
    form_class = ReleaseForm

    def applies(self, target: Voucher) -> bool:
        return target.state == VoucherState.ACCEPTED

    def perform(self, *, target: Voucher, by: Any, on: Any, reason: str, key: Any) -> Voucher:
        return services.release_voucher(voucher=target, on=on, reason=reason, by=by)

    def done(self, result: Voucher) -> str:
        return (
            f"Not claimed: {result}. {result.charge.household} {selectors.balance_in_words(result.charge.household)}."
        )


@admin.register(Voucher)
class VoucherAdmin(DocumentAdmin):
    list_display = ["person", "scheme", "code_shown", "accepted_on", "state", "amount_shown"]
    list_select_related = ["person", "scheme"]
    list_filter = ["state", "calendar_year"]
    search_fields = ["person__given_name", "person__family_name"]
    fields = [
        "person", "scheme", "code_shown", "charge", "amount_shown", "short_shown", "accepted_on", "state", "lodgement",
        "ended_on", "end_reason",
    ]  # fmt: skip
    readonly_fields = fields
    pages = [RefuseVoucherPage(), ReleaseVoucherPage()]
    amount_shown = amount_column("amount", "Amount")
    short_shown = amount_column("short_by", "Paid short by")

    @admin.display(description="Code")
    def code_shown(self, voucher: Voucher) -> str:
        return voucher.masked_code


class VoucherValueInline(admin.TabularInline):
    model = VoucherValue
    extra = 1
    can_delete = False


@admin.register(VoucherScheme)
class VoucherSchemeAdmin(RoomAdmin):
    list_display = ["name", "department"]
    list_select_related = ["department"]
    inlines = [VoucherValueInline]


class FeeShareInline(admin.TabularInline):
    model = FeeShare
    extra = 1
    verbose_name_plural = "Shares that are not the club's own income of this item"

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).select_related("account", "party")

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return super().has_add_permission(request, obj) and not is_charged(obj)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return super().has_change_permission(request, obj) and not is_charged(obj)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return super().has_delete_permission(request, obj) and not is_charged(obj)


def is_charged(price: FeePrice | None) -> bool:
    """Whether the price was charged to somebody: from then on it is kept, and a new one starts on a later day."""
    return price is not None and price.charges.exists()


@admin.register(FeePrice)
class FeePriceAdmin(RoomAdmin):
    list_display = ["item", "valid_from", "valid_until", "amount_shown"]
    list_select_related = ["item"]
    list_filter = ["item"]
    inlines = [FeeShareInline]
    amount_shown = amount_column("amount", "Price")

    def get_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        return ["item", "amount_shown" if is_charged(obj) else "amount", "valid_from", "valid_until"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        return ["item", "amount_shown", "valid_from"] if is_charged(obj) else []


def prices_section(request: HttpRequest, item: FeeItem) -> Section:
    rows = [
        (link_to(price, day_text(price.valid_from)), price.valid_until or "until the next", price.amount)
        for price in item.prices.all()
    ]
    today = clock.today()
    return Section(f"Prices (today {day_text(today)})", ["From", "To", "Price"], rows)


@admin.register(FeeItem)
class FeeItemAdmin(RoomAdmin):
    list_display = ["name", "kind", "income_account"]
    list_select_related = ["income_account"]
    prepopulated_fields = {"code": ["name"]}
    section_makers = [prices_section]

    def get_exclude(self, request: HttpRequest, obj: Any = None) -> list[str]:
        return [] if settings.CLUB_GST_FROM else ["tax_code"]
