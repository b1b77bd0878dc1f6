"""Where a household's money goes: a page and a section on the household."""

from django import forms
from django.http import HttpRequest

from clubdesk.bank import selectors, services
from clubdesk.bank.models import BankDetails
from clubdesk.handing import hand_out
from clubdesk.roll.models import Household
from clubdesk.screens.again import said_lately
from clubdesk.screens.fields import VerbForm, reason_field
from clubdesk.screens.tables import Section
from clubdesk.screens.verbs import Facts, VerbPage
from clubdesk.verbs import may

SAW_IN_FULL = "saw in full the bank details"


class DetailsForm(VerbForm[Household]):
    title = forms.CharField(
        label="Account name", max_length=32, help_text="As the bank knows it; it reads the first 32 letters."
    )
    bsb = forms.CharField(label="BSB", max_length=7, help_text="Six digits, like 123-456.")
    account_number = forms.CharField(max_length=12, help_text="Two to nine digits.")
    reason = reason_field("Who asked, and how you made sure: ring a number that you knew before.")


class DetailsPage(VerbPage[Household, BankDetails]):
    slug = "bank-details"
    verb = services.set_bank_details
    target = "household"
    asks_again = True
    intro = "The next payment goes there. A run that was made already keeps its details, and must be made anew."
    button = "Save the bank details"
    form_class = DetailsForm
    lands_on_target = True

    def facts(self, target: Household) -> Facts:
        last = selectors.details_of(target)
        return [("Family", target), ("Until now", last.in_full if last else "none")]

    def initial(self, request: HttpRequest, target: Household) -> dict[str, object]:
        """Its facts say the account in full, for whoever opens it."""
        if request.method == "GET" and target.bank_details.exists():
            hand_out(request, SAW_IN_FULL, family=target.pk)
        return super().initial(request, target)

    def done(self, target: Household, result: BankDetails) -> str:
        return f"{target} is paid to {result.masked}."


def details_section(request: HttpRequest, household: Household) -> Section | None:
    """What was noted and why, the newest first; in full only for who may see it so."""
    if not may(request.user, "bank.view_bankdetails"):
        return None
    full = may(request.user, "bank.see_bankdetails") and said_lately(request)
    rows = [
        (each.noted_on, each.in_full if full else each.masked, each.reason, str(each.recorded_by))
        for each in household.bank_details.select_related("recorded_by")
    ]
    if full and rows:
        hand_out(request, SAW_IN_FULL, family=household.pk)
    return Section("Bank details", ["Noted", "Account", "Why", "By"], rows, "None noted.")
