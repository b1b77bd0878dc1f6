"""Buttons on pages of the rooms below that look at all of them at once."""

from typing import Any

from django import forms
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.desk import blanking
from clubdesk.roll.admin import HouseholdAdmin, PersonAdmin
from clubdesk.roll.models import Household, Person
from clubdesk.screens import VerbForm, VerbPage


class HeldStep(VerbPage):
    slug = "held"
    routed = False
    title = "All that is held about them (XLSX)"
    permission = "fees.view_charge"

    def url(self, target: Household) -> str:
        return reverse("admin:household_held", args=[target.pk])


class BlankForm(VerbForm):
    sure = forms.BooleanField(label="I know that this cannot be undone")


class BlankPage(VerbPage):
    slug = "blank"
    title = "Blank this person’s details"
    intro = (
        "Name, day of birth, voucher codes, histories, letters and entry-fee receipts go; every figure stays. With the "
        "last of a household its guardians go too. How long records are kept is for your state’s law and the "
        "club’s rules to say; ask whoever audits the books before you blank anybody."
    )
    button = "Blank the details"
    permission = "roll.blank_person"
    form_class = BlankForm

    def applies(self, target: Person) -> bool:
        return target.blanked_on is None

    def facts(self, target: Person) -> list[tuple[str, Any]]:
        until = blanking.kept_until(target)
        kept = f"to {day_text(until)}, then they can be blanked" if until else "no longer: nothing is recorded of them"
        return [("Who", target), ("Records are kept", kept)]

    def perform(self, *, target: Person, by: Any, sure: bool, key: Any) -> Person:
        return blanking.blank_person(person=target, on=clock.today(), by=by)

    def done(self, result: Person) -> str:
        return "The details are blanked; every figure stays."


HouseholdAdmin.pages.append(HeldStep())
PersonAdmin.pages.append(BlankPage())
