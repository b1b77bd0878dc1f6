"""Arrivals and leavings of children who come without a guardian."""

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone

from clubdesk import clock
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll.models import Person
from clubdesk.safety import selectors, services
from clubdesk.safety.admin.linking import FromASection, link_row
from clubdesk.safety.models import Stay
from clubdesk.screens.fields import PickField, form_of
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage
from clubdesk.verbs import may


class ArrivalPage(FromASection[Stay]):
    slug = "arrival"
    verb = services.note_arrival
    target = "range_day"
    button = "They are here"
    form_class = form_of(person=PickField(Person, through=(Stay, "person"), label="Child"))
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.is_open and selectors.rules_on(target.date).arrivals

    def arguments(self, target: RangeDay, cleaned: dict[str, object]) -> dict[str, object]:
        """It is now."""
        return {**super().arguments(target, cleaned), "at": clock.now()}

    def done(self, target: RangeDay, result: Stay) -> str:
        return f"{result.person} is here since {_hour(result)}."


class LeavingPage(VerbPage[Stay, Stay]):
    slug = "leaving"
    verb = services.note_leaving
    target = "stay"
    intro = "Who is neither a guardian nor named by the family collects a child only as a guardian agrees."
    button = "They have left"
    form_class = form_of(
        collected_by=forms.CharField(label="Collected by", max_length=100),
        agreed_by=forms.CharField(
            label="Which guardian agreed", max_length=100, required=False,
            help_text="Only where the family has not named who collects.",
        ),
    )  # fmt: skip

    def applies(self, target: Stay) -> bool:
        return target.left_at is None

    def facts(self, target: Stay) -> Facts:
        return [("Child", target.person), ("Came", target.came_at)]

    def arguments(self, target: Stay, cleaned: dict[str, object]) -> dict[str, object]:
        """It is now."""
        return {**super().arguments(target, cleaned), "at": clock.now()}

    def done(self, target: Stay, result: Stay) -> str:
        return f"{result.person} was collected by {result.collected_by}."


def _hour(stay: Stay) -> str:
    return f"{timezone.localtime(stay.came_at):%H:%M}"


def stays_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """On a range day's page, who came alone and who collected them."""
    if not may(request.user, "safety.view_stay"):
        return None
    rows: list[tuple[object, ...]] = [
        (link_to(each, str(each.person)), _hour(each),
         f"{timezone.localtime(each.left_at):%H:%M}" if each.left_at else "still here", each.collected_by or "–")
        for each in day.stays.select_related("person")
    ]  # fmt: skip
    rows += link_row(ArrivalPage(), request, day, 4)
    return Section("Came without a guardian", ["Child", "Came", "Left", "Collected by"], rows) if rows else None


class LeftFilter(admin.SimpleListFilter):
    title = "collected"
    parameter_name = "left"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("no", "Nobody noted who collected them"), ("yes", "Collected")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Stay]) -> QuerySet[Stay]:
        return queryset.filter(left_at__isnull=self.value() == "no") if self.value() in ("no", "yes") else queryset


@admin.register(Stay)
class StayAdmin(DocumentAdmin[Stay]):
    list_display = ("person", "range_day", "came_at", "left_at", "collected_by")
    list_select_related = ("person", "range_day")
    list_filter = (LeftFilter,)
    date_hierarchy = "range_day__date"
    search_fields = ("person__given_name", "person__family_name")
    search_help_text = "A name"
    fields = (*list_display, "agreed_by", "recorded_by")
    readonly_fields = fields
    pages = (LeavingPage(),)
