"""What is set up once in a while: the safety rules for visitors, and what gear of one's own costs about."""

from django.contrib import admin
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.rangeday.models import OwnGearCost, SafetyText
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
