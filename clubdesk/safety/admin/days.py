"""What a range day's page shows of its safety: who is on duty, how it began, the weather; and the club's own rules."""

from urllib.parse import urlencode

from django import forms
from django.contrib import admin
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import RangeDay
from clubdesk.safety import selectors, services
from clubdesk.safety.admin import roster
from clubdesk.safety.admin.linking import FromASection, link_row
from clubdesk.safety.models import DayRules, Opening, Weather, WeatherNote
from clubdesk.safety.views import enough
from clubdesk.screens.fields import form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin, RoomAdmin
from clubdesk.screens.tables import Link, Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage
from clubdesk.verbs import may, verb_of


class OpenPage(VerbPage[RangeDay, Opening]):
    """A button of its own, since the day waits for it."""

    slug = "open"
    verb = services.open_day
    target = "range_day"
    intro = (
        "Fewer are on duty than the club’s own rules ask for. With a reason the day begins all the same, and the reason"
        " stays written with your name. The law of your place may ask for more than the club does."
    )
    button = "Open the day"
    form_class = form_of(reason=reason_field("What makes it safe with fewer, without names of children."))
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        if not target.is_open or target.date > clock.today():
            return False
        now = selectors.standing(target)
        return now.is_short and not (now.opening and now.opening.reason)

    def facts(self, target: RangeDay) -> Facts:
        now = selectors.standing(target)
        return [("Now", now.words), *((each.turn.get_duty_display(), each.turn.person) for each in now.turns)]

    def done(self, target: RangeDay, result: Opening) -> str:
        return f"The day is open: {result.reason}."


class WeatherPage(FromASection[WeatherNote]):
    slug = "weather"
    verb = services.note_weather
    target = "range_day"
    intro = "What you saw or read yourself; no forecast is asked. The day can then be called off with it as the reason."
    button = "Note it"
    form_class = form_of(
        kind=forms.ChoiceField(label="What", choices=Weather.choices, widget=forms.RadioSelect, initial=Weather.HEAT),
        words=forms.CharField(label="In words", max_length=120, help_text="Such as: 38 degrees in the shade."),
    )
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def done(self, target: RangeDay, result: WeatherNote) -> str:
        return f"Noted: {result}."


def duty_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """Who is on duty, with which check, and whether that is what the club asks for."""
    if not may(request.user, "safety.view_turn"):
        return None
    now = selectors.standing(day)
    rows: list[tuple[object, ...]] = [
        (each.turn.get_duty_display(), link_to(each.turn, str(each.turn.person)), _check(each), _swap(each))
        for each in now.turns
    ]
    rows += link_row(roster.DutyPage(), request, day, 4)
    return Section(
        f"On duty: {enough(now)}", ["As", "Who", "Working with children check", ""], rows, "Nobody yet.", _note(now)
    )


def _check(each: selectors.OnDuty) -> str:
    return f"good through {day_text(each.good_through)}" if each.good_through else "none that is good: does not count"


def _swap(each: selectors.OnDuty) -> str:
    return "asks to swap" if each.turn.swap_asked_on else ""


def _note(now: selectors.Standing) -> str:
    if now.opening and now.opening.reason:
        return f"The day began with {now.opening.on_duty} of {now.opening.needed}: {now.opening.reason}."
    return now.words if now.is_short and now.day.is_open else ""


def weather_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """What was noted of the weather; from each note the day is called off in two taps."""
    may_call_off = day.is_open and may(request.user, verb_of(rangeday.call_off_day).permission)
    notes = day.weather_notes.all() if may(request.user, "safety.view_turn") else ()
    rows: list[tuple[object, ...]] = [
        (f"{timezone.localtime(each.recorded_at):%H:%M}", each.get_kind_display(), each.words,
         _call_off(day, each) if may_call_off else "")
        for each in notes
    ]  # fmt: skip
    rows += link_row(WeatherPage(), request, day, 4)
    return Section("Weather", ["At", "What", "In words", ""], rows) if rows else None


def _call_off(day: RangeDay, note: WeatherNote) -> Link:
    asked = urlencode({"reason": f"{note.get_kind_display().lower()}: {note.words}"[:120]})
    return Link("Call the day off for it", f"{reverse('admin:rangeday_rangeday_call-off', args=[day.pk])}?{asked}")


@admin.register(Opening)
class OpeningAdmin(DocumentAdmin[Opening]):
    list_display = ("range_day", "children", "needed", "on_duty", "reason", "recorded_by")
    list_select_related = ("range_day", "recorded_by")
    date_hierarchy = "range_day__date"
    fields = (*list_display, "recorded_at")
    readonly_fields = fields


@admin.register(DayRules)
class DayRulesAdmin(RoomAdmin[DayRules]):
    list_display = ("since", "people", "children", "arrivals", "keep_years")
    fields = ("since", "people", "children", "arrivals", "keep_years")
