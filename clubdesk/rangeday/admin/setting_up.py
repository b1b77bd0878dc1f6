"""What is set up once in a while: when nobody shoots, the rules for visitors, what gear of one's own costs about."""

from django.contrib import admin, messages
from django.forms import ModelForm
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.rangeday.models import ClosedDays, OwnGearCost, RangeDay, SafetyText
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.tables import amount_column


@admin.register(SafetyText)
class SafetyTextAdmin(RoomAdmin[SafetyText]):
    list_display = ("in_force_from", "text")
    fields = ("in_force_from", "text")

    def get_changeform_initial_data(self, request: HttpRequest) -> dict[str, str | list[str]]:
        latest = SafetyText.objects.first()
        return {"in_force_from": clock.today().isoformat(), "text": latest.text if latest else ""}

    def has_change_permission(self, request: HttpRequest, obj: SafetyText | None = None) -> bool:
        return False


@admin.register(OwnGearCost)
class OwnGearCostAdmin(RoomAdmin[OwnGearCost]):
    list_display = ("since", "amount_shown")
    fields = ("since", "amount")
    amount_shown = amount_column("amount", "Costs about")

    def get_changeform_initial_data(self, request: HttpRequest) -> dict[str, str | list[str]]:
        return {"since": clock.today().isoformat()}


@admin.register(ClosedDays)
class ClosedDaysAdmin(RoomAdmin[ClosedDays]):
    list_display = ("reason", "first_day", "last_day")
    fields = ("first_day", "last_day", "reason")

    def save_model(self, request: HttpRequest, obj: ClosedDays, form: ModelForm[ClosedDays], change: bool) -> None:
        super().save_model(request, obj, form, change)
        open_days = RangeDay.objects.filter(closed_on=None, called_off_on=None)
        for day in open_days.filter(date__range=(obj.first_day, obj.last_day)):
            self.message_user(request, f"{day} stands in that time; call it off, or change the time.", messages.WARNING)
