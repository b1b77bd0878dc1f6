"""Screens of volunteers' expenses."""

from collections.abc import Mapping, Sequence
from datetime import date

from django import forms
from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase, QueryDict
from django.urls import URLPattern, path, reverse
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.evidence import KINDS, EvidenceField, served
from clubdesk.expenses import selectors, services
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.ledger.models import Account, Fund, FundRole
from clubdesk.ledger.selectors import is_registered
from clubdesk.money import AmountFormField, nil, shown, total
from clubdesk.roll.finding import of_family
from clubdesk.roll.models import Household
from clubdesk.roll.selectors import NEVER, belongs_to, left_families
from clubdesk.screens.fields import HappenedField, PickField, PickMany, Target, VerbForm, choose_from, day_and_reason
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import Link, Section, amount_column
from clubdesk.screens.verbs import Facts, VerbPage, signed_in

TAX_HELP = (
    "As the receipt says; blank for none. Of what a volunteer is paid back a club gets it only where it is an endorsed"
    " charity, the volunteer was authorised to buy on its behalf, or buys as an officer; above $82.50 by tax invoice."
)
"""Source: Australian Taxation Office, Claiming GST credits on reimbursements to volunteers."""


class ChargedForm(VerbForm[Target]):
    """A form that asks what account and fund bear the expense."""

    account = forms.ModelChoiceField(Account.objects.none(), label="Charged to")
    fund = forms.ModelChoiceField(Fund.objects.all())
    tax = AmountFormField(label="GST that the club gets back", required=False, help_text=TAX_HELP)

    def prepare(self) -> None:
        if not is_registered():
            del self.fields["tax"]
        choose_from(self, "account", selectors.chargeable_accounts())

    def clean_tax(self) -> Money:
        tax: Money = self.cleaned_data["tax"] or nil()
        return tax


class ExpenseForm(ChargedForm[None]):
    household = PickField(Household, through=(Expense, "household"), label="Volunteer’s family")
    what = forms.CharField(
        label="What for", max_length=120, help_text="What was bought, without names: it stands in the books for good."
    )
    amount = AmountFormField(help_text="What the receipt says.")
    spent_on = HappenedField(label="Bought on")
    evidence = EvidenceField()

    field_order = ["household", "what", "amount", "tax", "spent_on", "evidence", "account", "fund"]


class ExpensePage(VerbPage[None, Expense]):
    verb = services.record_expense
    intro = "Somebody who neither recorded it nor belongs to the family decides; the treasurer then pays it."
    button = "Record the expense"
    form_class = ExpenseForm

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        return {"fund": FundRole.GENERAL.value, **super().initial(request, target)}

    def done(self, target: None, result: Expense) -> str:
        return f"Expense recorded: {shown(result.amount)} for {result.what}. It waits for a decision."


class DecisionPage(VerbPage[Expense, Expense]):
    """What approving and declining share: when it makes sense, and what they see before they do."""

    target = "expense"

    def applies(self, target: Expense) -> bool:
        return target.state == ExpenseState.RECORDED

    def offered(self, request: HttpRequest, target: Expense) -> bool:
        by = signed_in(request)
        own = by.pk == target.recorded_by_id or belongs_to(by, target.household, target.recorded_at)
        return super().offered(request, target) and not own

    def facts(self, target: Expense) -> Facts:
        return [
            ("For", target.what),
            ("Amount", target.amount),
            *((("GST that the club gets back", target.tax),) if target.tax.amount else ()),
            ("Bought on", target.spent_on),
            ("Paid to", target.household),
            ("From", target.fund),
            ("Receipt", receipt_link(target)),
            ("Recorded by", target.recorded_by),
            *restricted_funds(),
        ]


def restricted_funds() -> Facts:
    return [(str(fund), fund.balance) for fund in Fund.objects.filter(restricted=True)]


class ApproveForm(ChargedForm[Expense]):
    on = HappenedField(label="Decided on")
    posted_on = HappenedField(
        label="In the books on",
        initial=None,
        required=False,
        help_text="Decided after its year ended: the last day of that year, while it is open. Blank for just that.",
    )

    def prepare(self) -> None:
        """The second day is asked only of what was bought in a year that is over."""
        super().prepare()
        if selectors.day_to_post(self.target.spent_on, clock.today()) == clock.today():
            del self.fields["posted_on"]


class ApprovePage(DecisionPage):
    slug = "approve"
    verb = services.approve_expense
    intro = "The club then owes it to the family, charged to the account and fund below."
    button = "Approve the expense"
    form_class = ApproveForm

    def initial(self, request: HttpRequest, target: Expense) -> dict[str, object]:
        posted_on = selectors.day_to_post(target.spent_on, clock.today())
        return {"account": target.account_id, "fund": target.fund_id, "tax": target.tax, "posted_on": posted_on}

    def done(self, target: Expense, result: Expense) -> str:
        return f"Approved: {shown(result.amount)} to {result.household}."


class DeclinePage(DecisionPage):
    slug = "decline"
    verb = services.decline_expense
    button = "Decline the expense"
    form_class = day_and_reason("Decided on", "In words that you would tell the volunteer.")

    def done(self, target: Expense, result: Expense) -> str:
        return f"Declined: {result}. The volunteer hears why."


class ToApprove(PickMany):
    """What waits, each with what it would do; `dated` holds its day in the books, by its id."""

    dated: Mapping[int, date] = {}

    def label_from_instance(self, each: Expense) -> str:
        day = self.dated.get(each.pk, clock.today())
        late = f"; in the books on {day_text(day)}" if day != clock.today() else ""
        return f"{shown(each.amount)} to {each.household}: {each}, {each.account}, {each.fund}{late}"


class ApproveSeveralForm(VerbForm[None]):
    """What waits for a decision; below it stands in numbers what is ticked."""

    expenses = ToApprove(
        Expense.objects.none(),
        error_messages={"invalid_choice": "Some were decided meanwhile; look at what is ticked, and press again."},
    )
    on = HappenedField(label="Decided on")
    in_their_year = forms.BooleanField(
        label="Date each in the year it was bought in, while that is open", required=False, initial=True
    )

    def prepare(self) -> None:
        rows, field = choose_from(self, "expenses", selectors.to_decide()), self.fields["expenses"]
        assert isinstance(field, ToApprove)
        field.dated = selectors.days_to_post(rows, clock.today())
        ticked = {each.pk for each in self.initial.get("expenses", ())}
        if self.is_bound:
            sent = self.data.getlist("expenses") if isinstance(self.data, QueryDict) else ()
            ticked = {each.pk for each in rows if str(each.pk) in sent}
        field.help_text = _in_numbers([each for each in rows if each.pk in ticked], field.dated)


def _in_numbers(ticked: Sequence[Expense], dated: Mapping[int, date]) -> str:
    late = [each.amount for each in ticked if dated[each.pk] != clock.today()]
    said = f"Ticked here: {len(ticked)}, {shown(total(each.amount for each in ticked))} in all."
    of_them = f" {len(late)} of them, {shown(total(late))}, with the last day of the year they were bought in."
    return said + of_them if late else said


class ApproveSeveralPage(VerbPage[None, services.Approved]):
    slug = "approve-several"
    verb = services.approve_expenses
    intro = (
        "Each is charged to the account and fund that were proposed for it, and judged by itself: one that cannot be"
        " approved holds none of the others back. What you recorded or what pays your own family is not ticked, since"
        " somebody else decides about it. To change anything or to decline one, open it on its own."
    )
    button = "Approve what is ticked"
    form_class = ApproveSeveralForm

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        """Ticked beforehand is what whoever looks may decide."""
        by, waiting = signed_in(request), selectors.to_decide()
        left = left_families(by)
        others = [each for each in waiting if left.get(each.household_id, NEVER) < each.recorded_at]
        return {"expenses": [each for each in others if each.recorded_by_id != by.pk]}

    def facts(self, target: None) -> Facts:
        waiting = [each.amount for each in selectors.to_decide()]
        return [("Wait for a decision", f"{len(waiting)}, {shown(total(waiting))} in all"), *restricted_funds()]

    def done(self, target: None, result: services.Approved) -> str:
        said = f"Approved: {len(result.expenses)}, {shown(total(each.amount for each in result.expenses))} in all."
        return " ".join([said, "Not approved:", *result.refused] if result.refused else [said])

    def destination(self, target: None, result: services.Approved) -> str:
        return reverse("admin:expenses_expense_changelist")


def receipt_link(expense: Expense) -> Link:
    url = reverse("admin:expenses_expense_evidence", args=[expense.pk])
    return Link(f"Open the receipt ({KINDS[expense.receipt_type]})", url)


def receipt_section(request: HttpRequest, expense: Expense) -> Section:
    return Section("Receipt", ["Evidence"], [(receipt_link(expense),)] if expense.receipt else [], "Erased.")


@admin.register(Expense)
class ExpenseAdmin(DocumentAdmin[Expense]):
    list_display = ("what", "household", "spent_on", "amount_shown", "state")
    list_select_related = ("household",)
    list_filter = ("state", "fund")
    search_fields = ("what", "household__name", "household__guardians__name")
    search_help_text = "What it was for, a family or guardian, an amount or a payment reference"
    also_finds = (amount_in("amount"), of_family("household"))
    date_hierarchy = "spent_on"
    fields = (
        "what", "household", "spent_on", "amount_shown", "account", "fund", "state", "recorded_by",
        "decided_by", "decided_on", "decision_reason", "paid_on", "payment_reference", "times_returned",
    )  # fmt: skip
    readonly_fields = fields
    add_page = ExpensePage()
    list_pages = (ApproveSeveralPage(),)
    pages = (ApprovePage(), DeclinePage())
    section_makers = (receipt_section,)
    amount_shown = amount_column("amount", "Amount")

    def get_urls(self) -> list[URLPattern]:
        view = self.admin_site.admin_view(self.evidence)
        return [path("<int:pk>/receipt/", view, name="expenses_expense_evidence"), *super().get_urls()]

    def evidence(self, request: HttpRequest, pk: int) -> HttpResponseBase:
        """The uploaded receipt, for those who may see expenses."""
        expense = self.get_object(request, str(pk))
        if expense is None or not expense.receipt:
            raise Http404
        if not self.has_view_permission(request, expense):
            raise PermissionDenied
        return served(expense.receipt, expense.receipt_type, f"expense-{pk}")
