"""Fees begun from a worked example, which is changed line by line."""

from datetime import date

from django import forms
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.fees import services
from clubdesk.fees.models import FeeItem, FeeKind
from clubdesk.fees.services import NewFee
from clubdesk.fees.services.beginning import INCOME
from clubdesk.ledger.forms import ListForm, OneLine, listed
from clubdesk.ledger.selectors import year_start
from clubdesk.money import AmountFormField
from clubdesk.screens.fields import Cleaned, DayField
from clubdesk.screens.verbs import VerbPage

EXAMPLE: tuple[dict[str, object], ...] = (
    {"name": "Beginner course", "kind": FeeKind.COURSE, "amount": "126.00"},
    {"name": "Gear hire, member", "kind": FeeKind.HIRE, "amount": "7.00"},
    {"name": "Visitor with gear", "kind": FeeKind.VISITOR, "amount": "15.00"},
    {"name": "Parent beside a child", "kind": FeeKind.BESIDE, "amount": "7.00"},
)
"""Invented prices of an invented club: names and kinds are the point, each club puts in its own figures."""


def first_day_of_the_year() -> date:
    return year_start(clock.today())


class FeeLineForm(OneLine):
    """A fee and its price; a line without a name is left out."""

    name = forms.CharField(max_length=80, required=False)
    kind = forms.ChoiceField(
        choices=[(kind.value, kind.label) for kind in INCOME if kind != FeeKind.MEMBERSHIP], required=False
    )
    amount = AmountFormField(label="Price", required=False)

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        if cleaned.get("name") and not cleaned.get("amount") and "amount" not in self.errors:
            self.add_error("amount", "Write the price, or clear the name to leave the line out.")
        return cleaned

    def line(self) -> NewFee | None:
        cleaned = self.cleaned_data
        return NewFee(cleaned["name"], cleaned["kind"], cleaned["amount"]) if cleaned.get("name") else None


class BeginFeesForm(ListForm):
    on = DayField(label="Prices count from", initial=first_day_of_the_year)
    gives = ("fees",)
    made_of = listed(FeeLineForm, "Fees", extra=2, most=20)
    example = EXAMPLE


class BeginFeesPage(VerbPage[None, list[FeeItem]]):
    slug = "begin"
    verb = services.begin_fees
    intro = (
        "An example of what clubs charge, with made-up prices: change the lines to your own, clear the names of those"
        " that you do not have. What a membership costs is begun with the membership plans. A fee that stands already"
        " stays as it is."
    )
    button = "Begin with these"
    form_class = BeginFeesForm

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        return {}

    def done(self, target: None, result: list[FeeItem]) -> str:
        return f"{len(result)} fees stand: {', '.join(item.name for item in result)}."

    def destination(self, target: None, result: list[FeeItem]) -> str:
        return reverse("admin:fees_feeitem_changelist")
