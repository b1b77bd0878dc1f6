"""Plans begun from a worked example, which is changed line by line."""

from django import forms
from django.http import HttpRequest
from django.urls import reverse

from clubdesk.fees.admin.beginning import first_day_of_the_year
from clubdesk.ledger.forms import ListForm, OneLine, listed
from clubdesk.membership import services
from clubdesk.membership.models import Plan
from clubdesk.membership.services import NewPlan
from clubdesk.money import AmountFormField
from clubdesk.screens.fields import Cleaned, DayField
from clubdesk.screens.verbs import VerbPage

EXAMPLE: tuple[dict[str, object], ...] = (
    {"name": "Junior", "amount": "228.00", "months": 12, "oldest": 17},
    {"name": "Adult", "amount": "296.00", "months": 12, "youngest": 18},
)
"""Invented prices of an invented club."""


class PlanLineForm(OneLine):
    """A plan and its price; a line without a name is left out."""

    name = forms.CharField(max_length=60, required=False)
    amount = AmountFormField(label="Price", required=False)
    months = forms.IntegerField(min_value=1, max_value=60, required=False)
    youngest = forms.IntegerField(label="From age", min_value=0, max_value=99, required=False)
    oldest = forms.IntegerField(label="To age", min_value=0, max_value=99, required=False)

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        if cleaned.get("name") and not cleaned.get("amount") and "amount" not in self.errors:
            self.add_error("amount", "Write the price, or clear the name to leave the line out.")
        return cleaned

    def line(self) -> NewPlan | None:
        cleaned = self.cleaned_data
        if not cleaned.get("name"):
            return None
        return NewPlan(
            cleaned["name"], cleaned["amount"], cleaned["months"] or 12, cleaned["youngest"], cleaned["oldest"]
        )


class BeginPlansForm(ListForm):
    on = DayField(label="Prices count from", initial=first_day_of_the_year)
    gives = ("plans",)
    made_of = listed(PlanLineForm, "Plans", extra=2, most=12)
    example = EXAMPLE


class BeginPlansPage(VerbPage[None, list[Plan]]):
    slug = "begin"
    verb = services.begin_plans
    intro = (
        "An example with made-up prices: change the lines to your own, clear the names of those that you do not have."
        " What of a price associations get, and what siblings are let off, is put in afterwards on the plan and its"
        " price. A plan that stands already stays as it is."
    )
    button = "Begin with these"
    form_class = BeginPlansForm

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        return {}

    def done(self, target: None, result: list[Plan]) -> str:
        return f"{len(result)} plans stand: {', '.join(plan.name for plan in result)}."

    def destination(self, target: None, result: list[Plan]) -> str:
        return reverse("admin:membership_plan_changelist")
