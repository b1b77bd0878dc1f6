"""What the fees room adds to a household's page: its account, and the buttons that charge, receive and write to it."""

from django import forms
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import accounts, selectors, services
from clubdesk.fees.models import PAID_BY, Arrangement, Charge, FeeItem, Method, Receipt
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import party_balance
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.money import AmountFormField, as_amount, cash_rounded, nil, shown, sum_of
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import Cleaned, DayField, HappenedField, PickMany, VerbForm, choose_from
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage

MOST_PARTS = 6
MOST_LINES = 30


class OpenCharges(PickMany):
    """Charges to tick, each with what is still to pay."""

    def label_from_instance(self, obj: selectors.Settled) -> str:
        return f"{obj}: {shown(obj.open_amount)}"


class ReceiptForm(VerbForm[Household]):
    amount = AmountFormField(help_text="What it settles. In cash, five-cent rounding is worked out for you.")
    method = forms.ChoiceField(
        label="Paid by",
        choices=[(each.value, each.label) for each in PAID_BY],
        widget=forms.RadioSelect,
        initial=Method.CASH,
    )
    on = HappenedField(label="Received on")
    reference = forms.CharField(required=False, max_length=60)
    charges = OpenCharges(
        label="Pays for",
        queryset=Charge.objects.none(),
        required=False,
        help_text="Tick none, and the oldest is paid first.",
    )

    def prepare(self) -> None:
        if not choose_from(self, "charges", selectors.open_charges(self.target)).exists():
            del self.fields["charges"]


class ReceivePage(VerbPage[Household, Receipt]):
    slug = "receipt"
    verb = services.record_receipt
    target = "household"
    button = "Record the receipt"
    form_class = ReceiptForm

    def heading(self, target: Household) -> str:
        return f"Receipt from {target}"

    def facts(self, target: Household) -> Facts:
        owed = selectors.balance(target)
        facts = [("The family", selectors.balance_in_words(target))]
        if owed > nil() and cash_rounded(owed) != owed:
            facts.append(("In cash", shown(cash_rounded(owed))))
        return facts

    def initial(self, request: HttpRequest, target: Household) -> dict[str, object]:
        owed = selectors.balance(target)
        start = {"amount": owed.amount} if owed > nil() else {}
        return start | super().initial(request, target)

    def done(self, target: Household, result: Receipt) -> str:
        handed = f" ({shown(result.handed_over)} in cash)" if result.rounding != nil() else ""
        return f"{result}: {shown(result.amount)} from {result.household}{handed}."


class ChargeForm(VerbForm[Household]):
    item = forms.ModelChoiceField(label="Fee", queryset=FeeItem.objects.all())
    person = forms.ModelChoiceField(label="For", queryset=Person.objects.none(), required=False)
    on = HappenedField(label="Charged on")
    starts_on = DayField(label="Starts on", help_text="The day the thing paid for starts; income waits until then.")

    def prepare(self) -> None:
        choose_from(self, "person", self.target.people.all())


class ChargePage(VerbPage[Household, Charge]):
    slug = "charge"
    verb = services.charge
    target = "household"
    button = "Charge the fee"
    form_class = ChargeForm
    asks_only = ("item",)

    def heading(self, target: Household) -> str:
        return f"Charge a fee to {target}"

    def arguments(self, target: Household, cleaned: Cleaned) -> Cleaned:
        """The fee's price is that of the day it starts."""
        price = selectors.price_on(cleaned["item"], cleaned["starts_on"])
        return super().arguments(target, cleaned) | {"price": price}

    def done(self, target: Household, result: Charge) -> str:
        return f"{result}: {shown(result.amount)} charged to {result.household}."


class StatementLink(LinkPage[Household]):
    slug = "statement"
    title = "Statement (PDF)"
    permission = "fees.view_charge"

    def url(self, target: Household) -> str:
        return reverse("admin:household_statement", args=[target.pk])


class SendStatementPage(VerbPage[Household, Message]):
    slug = "send-statement"
    verb = services.send_statement
    target = "household"
    intro = "A letter with what is owed, the payment reference, and the family’s own link to the whole statement."
    button = "Send the letter"
    lands_on_target = True

    def facts(self, target: Household) -> Facts:
        to = ", ".join(each.email for each in target.guardians.all() if each.email) or "no e-mail address"
        return [("The family", selectors.balance_in_words(target)), ("To", to)]

    def done(self, target: Household, result: Message) -> str:
        return reached_in_words([result])


class PartsForm(VerbForm[Household]):
    note = forms.CharField(required=False, max_length=150, help_text="For instance: agreed by phone with Ida.")

    def prepare(self) -> None:
        for number in range(1, MOST_PARTS + 1):
            self.fields[f"due_{number}"] = DayField(label=f"Part {number}: by", initial=None, required=number == 1)
            self.fields[f"amount_{number}"] = AmountFormField(label=f"Part {number}: amount", required=number == 1)
        self.order_fields([name for name in self.fields if name != "note"])

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        pairs = [(cleaned.get(f"due_{number}"), cleaned.get(f"amount_{number}")) for number in range(1, MOST_PARTS + 1)]
        if any(bool(due) != bool(amount) for due, amount in pairs):
            raise forms.ValidationError("Each part needs its day and its amount.")
        return cleaned


class PartsPage(VerbPage[Household, Arrangement]):
    slug = "parts"
    verb = services.agree_parts
    target = "household"
    intro = "The family pays what it owes in parts, each by its day; the parts together are what it owes."
    button = "Save the arrangement"
    form_class = PartsForm
    lands_on_target = True

    def applies(self, target: Household) -> bool:
        return selectors.balance(target) > nil()

    def facts(self, target: Household) -> Facts:
        return [("The family", selectors.balance_in_words(target))]

    def arguments(self, target: Household, cleaned: Cleaned) -> Cleaned:
        """Each part's day and amount are fields of their own."""
        pairs = [(cleaned[f"due_{number}"], cleaned[f"amount_{number}"]) for number in range(1, MOST_PARTS + 1)]
        parts = [pair for pair in pairs if pair[0]]
        return super().arguments(target, {"parts": parts, "note": cleaned["note"], "key": cleaned["key"]})

    def done(self, target: Household, result: Arrangement) -> str:
        return f"Agreed with {target}; it stands on the statement."


class EndPartsPage(VerbPage[Household, Arrangement]):
    slug = "end-parts"
    verb = services.end_arrangement
    button = "End the arrangement"
    lands_on_target = True

    def applies(self, target: Household) -> bool:
        return target.arrangements.filter(ended_on=None).exists()

    def arguments(self, target: Household, cleaned: Cleaned) -> Cleaned:
        """The one arrangement of the household that stands."""
        standing = target.arrangements.filter(ended_on=None).first()
        if standing is None:
            raise Refused(f"No arrangement of {target} stands.")
        return super().arguments(target, cleaned) | {"arrangement": standing}

    def done(self, target: Household, result: Arrangement) -> str:
        return f"The arrangement with {target} has ended; what is owed is due as before."


def account_section(request: HttpRequest, household: Household) -> Section:
    """What it was paid back beyond its receipts and its charges, newest first, under its balance."""
    charges = selectors.charges_with_open().filter(household=household).order_by("-charged_on", "-pk")
    beyond = selectors.paid_back_beyond().filter(household=household)
    rows: list[tuple[object, ...]] = [
        (each.paid_on, "Paid back too much", each.amount, as_amount(each.open_amount)) for each in beyond
    ]
    rows += [
        (charge.charged_on, link_to(charge), charge.amount, as_amount(charge.open_amount)) for charge in charges[:30]
    ]
    title = f"Account: {selectors.balance_in_words(household)}"
    return Section(title, ["Charged", "For", "Amount", "Still to pay"], rows, "Nothing has been charged yet.")


def statement_section(request: HttpRequest, household: Household) -> Section | None:
    """The latest lines of the account, as the ledger has them, with its balance after each; None without any."""
    lines = Posting.objects.filter(entry__sealed=True, account__role=Role.FEES_OWED, party=household.party_id)
    of_entries = lines.order_by("-entry__date", "-entry__number").values("entry__date", "entry__narration")
    balance = party_balance(Role.FEES_OWED, household.party_id)
    rows: list[tuple[object, ...]] = []
    for line in of_entries.annotate(figure=sum_of("amount"))[:MOST_LINES]:
        rows.append((line["entry__date"], line["entry__narration"], line["figure"], balance))
        balance -= line["figure"]
    note = "Above zero the family owes the club, below zero the club owes the family. All of it is in the statement."
    return Section("Statement", ["Day", "What", "Amount", "Balance"], rows, note=note) if rows else None


def parts_section(request: HttpRequest, household: Household) -> Section | None:
    statement = accounts.statement(household, clock.today()) if EndPartsPage().applies(household) else None
    return Section("Pays in parts", ["By", "Amount", ""], statement.parts()) if statement else None


def receipts_section(request: HttpRequest, household: Household) -> Section:
    rows = [
        (row.received_on, link_to(row), row.get_method_display(), row.amount, "cancelled" if row.cancelled_on else "")
        for row in household.receipts.all()[:30]
    ]
    return Section("Receipts", ["Received", "Receipt", "By", "Amount", ""], rows)
