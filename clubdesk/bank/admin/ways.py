"""The ways that lead from a line of the bank to a filled-in form: a button each on the line's page and beside it."""

from urllib.parse import urlencode

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk.bank import goingback, guessing, services
from clubdesk.bank.models import BankRule, Clearing, StatementLine, Way
from clubdesk.bank.selectors import UNEXPLAINED
from clubdesk.bank.wording import gist, words_of
from clubdesk.clock import day_text
from clubdesk.fees.models import Charge
from clubdesk.ledger import services as ledger
from clubdesk.ledger.forms import JournalForm
from clubdesk.ledger.models import Account, Fund, FundRole, Kind, Party, PartyKind, Role
from clubdesk.money import nil
from clubdesk.roll.models import Household
from clubdesk.screens.fields import Cleaned, PickField, VerbForm, choose_from, form_of
from clubdesk.screens.tables import add_page_of
from clubdesk.screens.verbs import AnyButton, Facts, LinkPage, VerbPage
from clubdesk.verbs import may

PAID_FOR = Q(kind=Kind.EXPENSE) | Q(role__in=(Role.OTHER_PAYABLES, Role.PREPAYMENTS, Role.STOCK))


class WayPage(VerbPage[StatementLine, Clearing]):
    """What the ways share: the line stands above the form, and one is led back to the lines that wait."""

    target = "line"
    button = "Record it and match the line"

    def applies(self, target: StatementLine) -> bool:
        return not target.clearings.filter(stands=True).exists()

    def facts(self, target: StatementLine) -> Facts:
        day = ledger.open_day_now(target.date)
        late = [("In the books on", f"{day_text(day)}, since its month is locked")] if day != target.date else []
        return [("Date", target.date), *late, ("Text", target.text), ("Amount", target.amount)]

    def done(self, target: StatementLine, result: Clearing) -> str:
        return f"Recorded and matched: {target}."

    def destination(self, target: StatementLine, result: Clearing) -> str:
        return f"{reverse('admin:explain_lines')}?account={target.bank_account_id}"


class ReceiptPage(WayPage):
    slug = "receipt"
    verb = services.receive_line
    intro = "A receipt by transfer of the line’s day and amount. It pays the family’s oldest fees first."
    form_class = form_of(household=PickField(Household, through=(Charge, "household"), label="Family"))

    def applies(self, target: StatementLine) -> bool:
        return target.amount > nil() and target.bank_account.account.role == Role.BANK and super().applies(target)

    def initial(self, request: HttpRequest, target: StatementLine) -> dict[str, object]:
        return {"household": guessing.family_of(target)}


class SupplierForm(VerbForm[StatementLine]):
    party = forms.ModelChoiceField(
        queryset=Party.objects.filter(kind=PartyKind.SUPPLIER),
        label="Supplier",
        help_text="One that is missing is added among people and organisations first.",
    )
    account = forms.ModelChoiceField(queryset=Account.objects.filter(PAID_FOR), label="What it is for")
    fund = forms.ModelChoiceField(queryset=Fund.objects.all(), empty_label=None)
    narration = forms.CharField(max_length=300, help_text="What it is for, as an auditor should read it. No names.")


class SupplierPage(WayPage):
    slug = "supplier"
    verb = services.pay_supplier
    intro = "A journal of the line’s day. Where the supplier paid something back, it comes off what it was for."
    form_class = SupplierForm

    def initial(self, request: HttpRequest, target: StatementLine) -> dict[str, object]:
        said = guessing.booked_before(target)
        account = said.account if said else None
        supplier = (said.party if said else None) or guessing.supplier_of(target)
        return {
            "party": supplier,
            "account": account if account and Account.objects.filter(PAID_FOR, pk=account.pk).exists() else None,
            "fund": said.fund if said else FundRole.GENERAL.value,
            "narration": supplier.name if supplier else "",
        }


class LineJournalForm(JournalForm):
    """A journal of the line's own day."""

    on = None
    reverse_on = None
    evidence = None


class LineJournalPage(WayPage):
    slug = "journal"
    verb = services.book_line
    intro = "The bank’s own side stands; say what it was. Both sides come to the same."
    form_class = LineJournalForm

    def initial(self, request: HttpRequest, target: StatementLine) -> dict[str, object]:
        said, size = guessing.booked_before(target), abs(target.amount.amount)
        own, other = ("debit", "credit") if target.amount > nil() else ("credit", "debit")
        account = said.account if said else guessing.account_of(target, guessing.own_accounts())
        general = FundRole.GENERAL.value
        lines = [
            {"account": target.bank_account.account_id, "fund": said.fund if said else general, own: size},
            {
                "account": account.pk if account else None,
                "fund": said.fund if said else general,
                "party": said.party if said else None,
                other: size,
            },
        ]
        return {"narration": account.name if account else "", "lines": lines}

    def arguments(self, target: StatementLine, cleaned: Cleaned) -> Cleaned:
        """The journal's own lines are a table beside the form's fields."""
        return super().arguments(target, {**cleaned, "lines": cleaned["lines"]})


class TransferForm(VerbForm[StatementLine]):
    account = forms.ModelChoiceField(queryset=Account.objects.none(), label="The other account")

    def prepare(self) -> None:
        rows = Account.objects.filter(is_money=True).exclude(role=Role.CARD_TAKINGS)
        choose_from(self, "account", rows.exclude(pk=self.target.bank_account.account_id))


class TransferPage(WayPage):
    slug = "transfer"
    verb = services.transfer_line
    intro = (
        "Money between two accounts of the club, or cash. The other account’s own line is matched too, if it stands."
    )
    form_class = TransferForm


class OtherLine(forms.ModelChoiceField[StatementLine]):
    widget = forms.RadioSelect

    def label_from_instance(self, line: StatementLine) -> str:
        return f"{day_text(line.date)}, {line.text}"


def taken_back_by(line: StatementLine) -> QuerySet[StatementLine]:
    """Lines of the account that may be the other half of a correction, the nearest days first."""
    days = (line.date - goingback.BOUNCES_WITHIN, line.date + goingback.BOUNCES_WITHIN)
    rows = line.bank_account.lines.filter(UNEXPLAINED, amount=-line.amount, date__range=days)
    return rows.order_by("date", "pk")


class CorrectionForm(VerbForm[StatementLine]):
    other = OtherLine(StatementLine.objects.none(), label="It belongs to", empty_label=None)

    def prepare(self) -> None:
        rows = choose_from(self, "other", taken_back_by(self.target))
        if len(rows) == 1:
            self.fields["other"].initial = rows[0]


class CorrectionPage(WayPage):
    slug = "correction"
    verb = services.match_correction
    intro = "The bank took its own line back by another. Neither is the club’s money, and the book has none of it."
    button = "Match the two lines"
    form_class = CorrectionForm

    def applies(self, target: StatementLine) -> bool:
        return super().applies(target) and taken_back_by(target).exists()

    def arguments(self, target: StatementLine, cleaned: Cleaned) -> Cleaned:
        return {"lines": [target, cleaned["other"]], "key": cleaned["key"]}


class RuleLink(LinkPage[StatementLine]):
    slug = "rule"
    title = "Write a rule for such lines"
    permission = "bank.add_bankrule"

    def applies(self, target: StatementLine) -> bool:
        return not target.clearings.filter(stands=True).exists()

    def url(self, target: StatementLine) -> str:
        return rule_for(target, guessing.own_accounts())


def rule_for(line: StatementLine, own: guessing.OwnAccounts) -> str:
    """The form of a rule, filled in with the words that such lines share."""
    words = " ".join(gist(words_of(line.text)))
    such = words if words and words in line.text.casefold() else line.text
    account = guessing.account_of(line, own)
    filled = {
        "name": (account.name if account else such)[:60],
        "contains": such[:60],
        "way": Way.IN if line.amount > nil() else Way.OUT,
        "fund": FundRole.GENERAL.value,
        **({"account": account.pk} if account else {}),
    }
    return f"{add_page_of(BankRule)}?{urlencode(filled)}"


SHORT: dict[str, AnyButton] = {
    "Receipt": ReceiptPage(),
    "Supplier": SupplierPage(),
    "Journal": LineJournalPage(),
    "Transfer": TransferPage(),
    "Rule": RuleLink(),
}
"""What the ways are called beside every line; one that must ask the book first stands on the line’s page alone."""
WAYS = tuple(SHORT.values())


def ways_of(request: HttpRequest, line: StatementLine, own: guessing.OwnAccounts) -> list[tuple[str, str]]:
    """What the buttons beside a line that waits say, and where they lead; asks nothing of the book."""
    is_receipt = line.amount > nil() and line.bank_account.account.role == Role.BANK
    return [
        (name, rule_for(line, own) if isinstance(way, RuleLink) else way.url(line))
        for name, way in SHORT.items()
        if may(request.user, way.permission) and (is_receipt or not isinstance(way, ReceiptPage))
    ]
