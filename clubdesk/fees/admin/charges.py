"""Screens of charges: what settles them, credits, vouchers set against them, and debts written off."""

from collections.abc import Sequence

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.fees import accounts, selectors, services
from clubdesk.fees.admin.opening import OpenItemsPage
from clubdesk.fees.eligible import AgedBy
from clubdesk.fees.models import Charge, ChargeCredit, Voucher, VoucherScheme, WriteOff
from clubdesk.ledger.selectors import is_registered
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.money import AmountFormField, nil, shown
from clubdesk.roll.finding import of_family
from clubdesk.screens.fields import DateInput, HappenedField, VerbForm, day_and_reason, reason_field
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import Section, amount_column, link_to
from clubdesk.screens.verbs import Facts, VerbPage


class VoucherForm(VerbForm[Charge]):
    scheme = forms.ModelChoiceField(queryset=VoucherScheme.objects.all())
    code = forms.CharField(
        label="Voucher code", max_length=30, required=False, widget=forms.TextInput({"autocomplete": "off"})
    )
    birth_date = forms.DateField(
        label="Date of birth on the voucher",
        widget=DateInput,
        help_text="It is compared with the roll and not kept.",
    )
    issued_on = HappenedField(label="Issued on", required=False, help_text="Where vouchers of the scheme lapse.")
    school_year = forms.IntegerField(
        label="School year", required=False, min_value=0, max_value=13,
        help_text="Where the scheme goes by it and the child’s is not what its birthday says; 0 is the first.",
    )  # fmt: skip
    on = HappenedField(label="Accepted on")

    def prepare(self) -> None:
        """It asks only what some scheme asks."""
        schemes = list(VoucherScheme.objects.all())
        if not any(each.valid_days is not None or each.favours_child for each in schemes):
            del self.fields["issued_on"]
        if not any(each.aged_by == AgedBy.SCHOOL_YEAR for each in schemes):
            del self.fields["school_year"]
        if any(each.of_child for each in schemes):
            self.fields["code"].label = "Voucher code, or the child’s number"
            self.fields["code"].help_text = "A number that the club has already may be left blank."


class VoucherPage(VerbPage[Charge, Voucher]):
    slug = "voucher"
    verb = services.accept_voucher
    target = "charge"
    intro = "It pays at most the fee. What the family has paid of that becomes its credit, if the scheme allows."
    button = "Accept the voucher"
    form_class = VoucherForm

    def applies(self, target: Charge) -> bool:
        return target.person_id is not None and selectors.creditable(target) > nil()

    def facts(self, target: Charge) -> Facts:
        return [("Charge", target), ("Fee", target.amount), ("Still to pay", selectors.open_amount(target))]

    def initial(self, request: HttpRequest, target: Charge) -> dict[str, object]:
        only = VoucherScheme.objects.all()[:2]
        return {"scheme": only[0].pk} if len(only) == 1 else {}

    def done(self, target: Charge, result: Voucher) -> str:
        return f"Voucher accepted: {shown(result.amount)} of {target} is now owed by the department."


class CreditForm(VerbForm[Charge]):
    amount = AmountFormField(help_text="All that is left of the charge, unless you write less.")
    on = HappenedField(label="Credited on")
    reason = reason_field()


class CreditPage(VerbPage[Charge, ChargeCredit]):
    slug = "credit"
    verb = services.credit_charge
    target = "charge"
    intro = "Takes the charge, or part of it, back. What was paid towards it becomes the family's credit."
    button = "Credit the charge"
    form_class = CreditForm
    lands_on_target = True

    def applies(self, target: Charge) -> bool:
        return selectors.creditable(target) > nil()

    def facts(self, target: Charge) -> Facts:
        return [("Charge", target), ("Can be credited", selectors.creditable(target))]

    def initial(self, request: HttpRequest, target: Charge) -> dict[str, object]:
        return {"amount": selectors.creditable(target).amount}

    def done(self, target: Charge, result: ChargeCredit) -> str:
        return f"Credited: {target}."


class WriteOffPage(VerbPage[Charge, WriteOff]):
    slug = "write-off"
    verb = services.write_off
    target = "charge"
    intro = (
        "The club no longer expects it to be paid: it becomes an expense of the year, and the family owes it no "
        "longer. Who may decide that is for the club’s rules to say."
    )
    button = "Write it off"
    form_class = CreditForm
    lands_on_target = True

    def applies(self, target: Charge) -> bool:
        started = target.recognised_on is not None or not target.waits
        return started and selectors.open_amount(target) > nil()

    def facts(self, target: Charge) -> Facts:
        return [("Charge", target), ("Still to pay", selectors.open_amount(target))]

    def initial(self, request: HttpRequest, target: Charge) -> dict[str, object]:
        return {"amount": selectors.open_amount(target).amount}

    def done(self, target: Charge, result: WriteOff) -> str:
        return f"Written off: {target}."


class SendStatementsPage(VerbPage[None, list[Message]]):
    """To all who owe, at once; hangs at the charges, since it is about all of them."""

    slug = "send-statements"
    verb = services.send_statements
    intro = "Each family that owes gets its letter; none that has it as it would be written now."
    button = "Send the letters"

    def facts(self, target: None) -> Facts:
        return [("Families that owe", len(accounts.who_owes()))]

    def promises(self, target: None) -> Facts:
        """From the letters themselves that the verb would write: with as many questions for all families as for one."""
        return [("Letters", reached_in_words(services.statements_to_send(clock.today())))]

    def done(self, target: None, result: list[Message]) -> str:
        return reached_in_words(result)

    def destination(self, target: None, result: list[Message]) -> str:
        return reverse("admin:mail_message_changelist")


def settled_section(request: HttpRequest, charge: Charge) -> Section:
    rows: list[Sequence[object]] = [
        (part.receipt.received_on, link_to(part.receipt), part.amount)
        for part in charge.allocations.standing().select_related("receipt")
    ]
    rows += [
        (voucher.accepted_on, link_to(voucher, f"Voucher {voucher.get_state_display().lower()}"), voucher.amount)
        for voucher in charge.vouchers.select_related("scheme", "person")
    ]
    rows += [
        (credit.credited_on, f"Credited: {credit.reason}", credit.amount)
        for credit in charge.credits.filter(cancelled_on=None)
    ]
    rows += [
        (each.written_off_on, link_to(each, f"Written off: {each.reason}"), each.amount)
        for each in charge.write_offs.filter(cancelled_on=None).select_related("charge")
    ]
    return Section(f"Still to pay: {shown(selectors.open_amount(charge))}", ["On", "Settled by", "Amount"], rows)


@admin.register(Charge)
class ChargeAdmin(DocumentAdmin[Charge]):
    list_display = ("description", "household", "charged_on", "starts_on", "amount_shown", "open_shown")
    list_select_related = ("household",)
    search_fields = ("description", "household__name", "household__guardians__name")
    search_help_text = "A fee, child, family or guardian, an amount or a payment reference"
    also_finds = (amount_in("amount"), of_family("household"))
    date_hierarchy = "charged_on"
    fields = (
        "household", "person", "description", "amount_shown", "tax_shown", "charged_on", "starts_on", "recognised_on",
    )  # fmt: skip
    readonly_fields = fields
    list_pages = (SendStatementsPage(), OpenItemsPage())
    pages = (VoucherPage(), CreditPage(), WriteOffPage())
    section_makers = (settled_section,)
    amount_shown = amount_column("amount", "Amount")
    tax_shown = amount_column("tax", "GST in it")
    open_shown = amount_column("open_amount", "Still to pay")

    def get_fields(self, request: HttpRequest, obj: Charge | None = None) -> tuple[str, ...]:
        """The GST in it only where the club is registered."""
        return self.fields if is_registered() else tuple(name for name in self.fields if name != "tax_shown")

    def get_queryset(self, request: HttpRequest) -> QuerySet[Charge]:
        return selectors.charges_with_open().order_by("-charged_on", "-pk")


class UndoWriteOffPage(VerbPage[WriteOff, WriteOff]):
    slug = "take-up"
    verb = services.take_up_again
    target = "write_off"
    intro = "The write-off is reversed and the family owes it again."
    button = "Undo the write-off"
    form_class = day_and_reason("Undone on", "For instance: the family has paid after all.")

    def applies(self, target: WriteOff) -> bool:
        return target.cancelled_on is None

    def facts(self, target: WriteOff) -> Facts:
        return [("Charge", target.charge), ("Written off", target.amount)]

    def done(self, target: WriteOff, result: WriteOff) -> str:
        return f"{result.charge} is owed again."


@admin.register(WriteOff)
class WriteOffAdmin(DocumentAdmin[WriteOff]):
    list_display = ("charge", "written_off_on", "amount_shown", "reason", "cancelled_on")
    list_select_related = ("charge",)
    search_fields = ("charge__description", "charge__household__name", "charge__household__guardians__name")
    search_help_text = "A fee, child, family or guardian, an amount or a payment reference"
    also_finds = (amount_in("amount"), of_family("charge__household"))
    fields = ("charge", "amount_shown", "written_off_on", "reason", "recorded_by", "cancelled_on", "cancel_reason")
    readonly_fields = fields
    pages = (UndoWriteOffPage(),)
    amount_shown = amount_column("amount", "Amount")
