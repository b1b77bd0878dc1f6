"""What families owed, or had paid ahead, when the book begins."""

from django import forms
from django.http import HttpRequest
from django.urls import reverse

from clubdesk.clock import long_day
from clubdesk.fees import services
from clubdesk.fees.models import OpeningBalances
from clubdesk.fees.services import OpenItem
from clubdesk.ledger.forms import ListForm, OneLine, listed
from clubdesk.ledger.models import Account, Kind, Role
from clubdesk.ledger.selectors import opening_day, still_opens
from clubdesk.money import AmountFormField, nil
from clubdesk.roll.models import Household
from clubdesk.screens.fields import Cleaned
from clubdesk.screens.verbs import Facts, VerbPage

MOST_FAMILIES = 200


class OpenItemForm(OneLine):
    """What one family owes, or has paid ahead; an empty line is left out."""

    household = forms.ModelChoiceField(label="Family", queryset=Household.objects.all(), required=False)
    owes = AmountFormField(required=False)
    paid_ahead = AmountFormField(required=False)
    opened_for = forms.ModelChoiceField(
        label="For",
        queryset=Account.objects.filter(kind=Kind.INCOME).exclude(role=Role.TRANSFERS),
        required=False,
        empty_label="not known",
    )

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        household, owes, ahead = (cleaned.get(name) for name in ("household", "owes", "paid_ahead"))
        if owes and ahead:
            self.add_error("paid_ahead", "Fill one of both, and write the other as a line of its own.")
        if (owes or ahead) and household is None and "household" not in self.errors:
            self.add_error("household", "Choose the family.")
        if household and not (owes or ahead or self.errors):
            self.add_error("owes", "Write what the family owes or has paid ahead.")
        if owes and cleaned.get("opened_for") is None and "opened_for" not in self.errors:
            self.add_error("opened_for", "Say what it is owed for.")
        return cleaned

    def line(self) -> OpenItem | None:
        cleaned = self.cleaned_data
        if not cleaned.get("household"):
            return None
        amount = (cleaned.get("owes") or nil()) - (cleaned.get("paid_ahead") or nil())
        return OpenItem(cleaned["household"], amount, cleaned.get("opened_for"))


class OpenItemsForm(ListForm):
    gives = ("items",)
    made_of = listed(OpenItemForm, "Families", extra=6, most=MOST_FAMILIES)


class OpenItemsPage(VerbPage[None, OpeningBalances]):
    slug = "opening"
    verb = services.bring_in_balances
    intro = (
        "What each family owed, or had paid ahead, on the day before the first year of this book. It is paid and used"
        " like any other fee from then on, and the statements tell the money as what it was for."
    )
    button = "Record it"
    form_class = OpenItemsForm

    def applies(self, target: None) -> bool:
        return still_opens()

    def not_now(self, target: None) -> str:
        return "the first month is locked, so nothing from before it can be recorded."

    def facts(self, target: None) -> Facts:
        return [("As it stood on", long_day(opening_day()))]

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        return {}

    def done(self, target: None, result: OpeningBalances) -> str:
        return f"{result}: {result.charges.count()} owed, {result.receipts.count()} paid ahead."

    def destination(self, target: None, result: OpeningBalances) -> str:
        return reverse("admin:fees_charge_changelist")
