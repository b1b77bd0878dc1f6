"""Screens of lockers."""

from django import forms
from django.contrib import admin

from clubdesk.fees.models import FeeItem
from clubdesk.roll.models import Household
from clubdesk.screens.fields import DayField, VerbForm, day_and_reason
from clubdesk.screens.rooms import DocumentAdmin, RoomAdmin
from clubdesk.screens.verbs import VerbPage
from tests.house.locker import services
from tests.house.locker.models import Locker, Rent


class RentForm(VerbForm[Household]):
    locker = forms.ModelChoiceField(Locker.objects.all())
    item = forms.ModelChoiceField(FeeItem.objects.all(), label="Fee")
    starts_on = DayField(label="From")
    ends_on = DayField(label="To", initial=None)


class RentPage(VerbPage[Household, Rent]):
    slug = "rent-locker"
    verb = services.rent_locker
    target = "household"
    button = "Rent the locker"
    form_class = RentForm


class GiveUpPage(VerbPage[Rent, Rent]):
    slug = "give-up"
    verb = services.give_up_locker
    target = "rent"
    button = "Give it up"
    form_class = day_and_reason("Given up on")

    def applies(self, target: Rent) -> bool:
        return target.state == "rented"


@admin.register(Locker)
class LockerAdmin(RoomAdmin[Locker]):
    list_display = ("number",)


@admin.register(Rent)
class RentAdmin(DocumentAdmin[Rent]):
    list_display = ("locker", "household", "starts_on", "ends_on", "state")
    search_fields = ("=locker__number", "household__name")
    search_help_text = "A locker’s number, or a family"
    fields = ("locker", "household", "starts_on", "ends_on", "charge", "state", "reason", "recorded_by")
    readonly_fields = fields
    pages = (GiveUpPage(),)
