"""Screens of volunteers' expenses."""

from typing import Any

from django import forms
from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.urls import URLPattern, path, reverse

from clubdesk.evidence import KINDS, EvidenceField, served
from clubdesk.expenses import selectors, services
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.fees.admin import reason_field
from clubdesk.ledger.models import Account, Fund, FundRole
from clubdesk.money import AmountFormField, shown
from clubdesk.roll.models import Household
from clubdesk.roll.selectors import belongs_to
from clubdesk.screens import (
    DocumentAdmin,
    HappenedField,
    Link,
    PickField,
    Section,
    VerbForm,
    VerbPage,
    amount_column,
)


class ChargedForm(VerbForm):
    """A form that asks what account and fund bear the expense."""

    account = forms.ModelChoiceField(Account.objects.none(), label="Charged to")
    fund = forms.ModelChoiceField(Fund.objects.all())

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["account"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = selectors.chargeable_accounts()


class ExpenseForm(ChargedForm):
    household = PickField(Household, through=(Expense, "household"), label="Volunteer’s household")
    what = forms.CharField(
        label="What for", max_length=120, help_text="What was bought, without names: it stands in the books for good."
    )
    amount = AmountFormField(help_text="What the receipt says.")
    spent_on = HappenedField(label="Bought on")
    evidence = EvidenceField()

    field_order = ["household", "what", "amount", "spent_on", "evidence", "account", "fund"]


class ExpensePage(VerbPage):
    title = "Record a volunteer’s expense"
    intro = "Somebody who neither recorded it nor belongs to the household decides; the treasurer then pays it."
    button = "Record the expense"
    permission = "expenses.add_expense"
    form_class = ExpenseForm

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        return {"fund": FundRole.GENERAL.value, **super().initial(request, target)}

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Expense:
        return services.record_expense(by=by, **cleaned)

    def done(self, result: Expense) -> str:
        return f"Expense recorded: {shown(result.amount)} for {result.what}. It waits for a decision."


class DecisionPage(VerbPage):
    """What approving and declining share: who may decide, and what they see before they do."""

    permission = "expenses.decide_expense"

    def applies(self, target: Expense) -> bool:
        return target.state == ExpenseState.RECORDED

    def offered(self, request: HttpRequest, target: Expense) -> bool:
        own = target.recorded_by_id == request.user.pk or belongs_to(request.user, target.household)  # type: ignore[arg-type]
        return super().offered(request, target) and not own

    def facts(self, target: Expense) -> list[tuple[str, Any]]:
        return [
            ("For", target.what),
            ("Amount", target.amount),
            ("Bought on", target.spent_on),
            ("Paid to", target.household),
            ("From", target.fund),
            ("Receipt", receipt_link(target)),
            ("Recorded by", target.recorded_by),
            *((str(fund), fund.balance) for fund in Fund.objects.filter(restricted=True)),
        ]


class ApproveForm(ChargedForm):
    on = HappenedField(label="Decided on")


class ApprovePage(DecisionPage):
    slug = "approve"
    title = "Approve this expense"
    intro = "The club then owes it to the household, charged to the account and fund below."
    button = "Approve the expense"
    form_class = ApproveForm

    def initial(self, request: HttpRequest, target: Expense) -> dict[str, Any]:
        return {"account": target.account_id, "fund": target.fund_id}

    def perform(self, *, target: Expense, by: Any, key: Any, **cleaned: Any) -> Expense:
        return services.approve_expense(expense=target, by=by, **cleaned)

    def done(self, result: Expense) -> str:
        return f"Approved: {shown(result.amount)} to {result.household}."


class DeclineForm(VerbForm):
    on = HappenedField(label="Decided on")
    reason = reason_field("In words that you would tell the volunteer.")


class DeclinePage(DecisionPage):
    slug = "decline"
    title = "Decline this expense"
    button = "Decline the expense"
    form_class = DeclineForm

    def perform(self, *, target: Expense, by: Any, on: Any, reason: str, key: Any) -> Expense:
        return services.decline_expense(expense=target, reason=reason, on=on, by=by)

    def done(self, result: Expense) -> str:
        return f"Declined: {result}. The volunteer hears why."


def receipt_link(expense: Expense) -> Link:
    url = reverse("admin:expenses_expense_evidence", args=[expense.pk])
    return Link(f"Open the receipt ({KINDS[expense.receipt_type]})", url)


def receipt_section(request: HttpRequest, expense: Expense) -> Section:
    return Section("Receipt", ["Evidence"], [(receipt_link(expense),)] if expense.receipt else [], "Blanked.")


@admin.register(Expense)
class ExpenseAdmin(DocumentAdmin):
    list_display = ["what", "household", "spent_on", "amount_shown", "state"]
    list_select_related = ["household"]
    list_filter = ["state", "fund"]
    search_fields = ["what", "household__name"]
    date_hierarchy = "spent_on"
    fields = [
        "what", "household", "spent_on", "amount_shown", "account", "fund", "state", "recorded_by",
        "decided_by", "decided_on", "decision_reason", "paid_on", "payment_reference", "times_returned",
    ]  # fmt: skip
    readonly_fields = fields
    add_page = ExpensePage()
    pages = [ApprovePage(), DeclinePage()]
    section_makers = [receipt_section]
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
