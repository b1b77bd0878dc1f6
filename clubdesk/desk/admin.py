"""Buttons on pages of the rooms below that look at all of them at once, and the lists of sign-ins and roles."""

from django import forms
from django.contrib import admin
from django.contrib.auth.admin import GroupAdmin, UserAdmin
from django.contrib.auth.models import Group, User
from django.urls import reverse

from clubdesk.clock import day_text
from clubdesk.desk import erasing
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import VerbForm
from clubdesk.screens.moved import SaysWhatMoved
from clubdesk.screens.scripts import OnlyItsScripts
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage


class FamilyFilePage(LinkPage[Household]):
    slug = "file"
    title = "All that is held about them (XLSX)"
    permission = "fees.view_charge"

    def url(self, target: Household) -> str:
        return reverse("admin:household_file", args=[target.pk])


class EraseForm(VerbForm[Person]):
    sure = forms.BooleanField(label="I know that this cannot be undone")


class ErasePage(VerbPage[Person, Person]):
    slug = "erase"
    verb = erasing.erase_person
    target = "person"
    intro = (
        "Name, day of birth, voucher codes, histories, letters and entry-fee receipts go; every figure stays. With the "
        "last of a household its guardians go too. How long records are kept is for your state’s law and the "
        "club’s rules to say; ask whoever audits the books before you erase anybody’s details."
    )
    button = "Erase the details"
    form_class = EraseForm
    asks_only = ("sure",)

    def applies(self, target: Person) -> bool:
        return target.erased_on is None

    def facts(self, target: Person) -> Facts:
        until = erasing.retained_until(target)
        retained = (
            f"to {day_text(until)}, then they can be erased" if until else "no longer: nothing is recorded of them"
        )
        return [("Who", target), ("Records are kept", retained)]

    def done(self, target: Person, result: Person) -> str:
        return "The details are erased; every figure stays."


admin.site.unregister((User, Group))


@admin.register(User)
class SignInAdmin(SaysWhatMoved[User], OnlyItsScripts[User], UserAdmin[User]):
    readonly_fields = ("last_login", "date_joined")
    search_help_text = "A username, a name or an e-mail"


@admin.register(Group)
class RoleAdmin(SaysWhatMoved[Group], OnlyItsScripts[Group], GroupAdmin):
    search_help_text = "A role’s name"
