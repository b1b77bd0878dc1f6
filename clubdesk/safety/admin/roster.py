"""The roster: turns on duty, planned, swapped, taken off."""

from collections.abc import Iterator
from datetime import timedelta

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll.models import Person
from clubdesk.safety import selectors, services
from clubdesk.safety.admin.linking import FromASection
from clubdesk.safety.models import Duty, Turn, VolunteerCheck
from clubdesk.screens.fields import DayField, PickField, PickMany, VerbForm, choose_from, form_of, reason_field
from clubdesk.screens.promises import Did
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.verbs import Facts, VerbPage

BOTH_WRITTEN_TO = "Both have a letter."


def person_field(label: str) -> PickField:
    return PickField(Person, through=(Turn, "person"), label=label, help_text="An adult of the roll.")


def duty_field() -> forms.ChoiceField:
    return forms.ChoiceField(label="As", choices=Duty.choices, initial=Duty.HELPER)


class TurnForm(VerbForm[None]):
    range_day = forms.ModelChoiceField(RangeDay.objects.none(), label="Range day")
    person = person_field("Who")
    duty = duty_field()

    def prepare(self) -> None:
        choose_from(self, "range_day", selectors.coming_days(clock.today()))


class TurnPage(VerbPage[None, Turn]):
    verb = services.put_on_duty
    button = "Put them on duty"
    form_class = TurnForm

    def done(self, target: None, result: Turn) -> str:
        return f"On duty: {result}."


class DutyPage(FromASection[Turn]):
    """The same, from the page of a range day."""

    slug = "duty"
    verb = services.put_on_duty
    target = "range_day"
    button = "Put them on duty"
    form_class = form_of(person=person_field("Who"), duty=duty_field())
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def facts(self, target: RangeDay) -> Facts:
        return [(each.turn.get_duty_display(), each.turn.person) for each in selectors.standing(target).turns]

    def done(self, target: RangeDay, result: Turn) -> str:
        return f"On duty: {result}."


class PlanForm(VerbForm[None]):
    duty = duty_field()
    people = PickMany(Person.objects.none(), label="Who takes turns")
    each_day = forms.IntegerField(label="How many a day", min_value=1, max_value=20, initial=1)
    first_day = DayField(label="First day")
    last_day = DayField(label="Last day", initial=lambda: clock.today() + timedelta(weeks=10))

    def prepare(self) -> None:
        """Whose check was seen, or who was on duty before."""
        known = Person.objects.filter(pk__in=VolunteerCheck.objects.values("person"))
        before = Person.objects.filter(pk__in=Turn.objects.values("person"))
        choose_from(self, "people", (known | before).filter(erased_on=None))
        self.fields[
            "people"
        ].help_text = "One after the other, in this order. Whoever has a check that was seen, or was on duty before."


class PlanPage(VerbPage[None, services.Roster]):
    slug = "plan"
    verb = services.plan_turns
    intro = (
        "Each open range day between the two days gets so many of them, in turns. A day that has somebody for this duty"
        " already is passed over, and so is whose check has lapsed by a day. Each has a letter five days before."
    )
    button = "Plan it"
    form_class = PlanForm
    looks_first = True

    def preview(self, target: None, cleaned: dict[str, object]) -> Facts:
        def tell(did: Did[services.Roster]) -> Iterator[tuple[str, object]]:
            for turn in did.result.turns:
                yield day_text(turn.range_day.date, weekday=True), turn.person
            if did.result.stood:
                yield "Have somebody already", f"{len(did.result.stood)} days"
            yield from (("Not possible", sentence) for sentence in did.result.refused)

        return self.foretold(target, tell, **cleaned)

    def done(self, target: None, result: services.Roster) -> str:
        count = len(result.turns)
        return " ".join([f"{count} {'turn was' if count == 1 else 'turns were'} planned.", *result.refused])

    def destination(self, target: None, result: services.Roster) -> str:
        return reverse("admin:safety_roster")


class OfTurn(VerbPage[Turn, Turn]):
    """What the pages of a turn share: it is to come, and has not ended."""

    target = "turn"

    def applies(self, target: Turn) -> bool:
        return target.ended_on is None and target.range_day.is_open

    def facts(self, target: Turn) -> Facts:
        return [("Who", target.person), ("As", target.get_duty_display()), ("When", target.range_day)]


class AskSwapPage(OfTurn):
    slug = "ask"
    verb = services.ask_for_swap
    intro = "The turn stands until somebody takes it over. Home shows the coordinator and the helpers that it is asked."
    button = "Ask for a swap"

    def applies(self, target: Turn) -> bool:
        return super().applies(target) and target.swap_asked_on is None

    def done(self, target: Turn, result: Turn) -> str:
        return f"{result.person} asks that somebody takes over: {result.range_day}."


class TakeOverPage(OfTurn):
    slug = "take-over"
    verb = services.take_over
    intro = BOTH_WRITTEN_TO
    button = "Take it over"
    form_class = form_of(person=person_field("Who takes it over"))

    def done(self, target: Turn, result: Turn) -> str:
        return f"{result.person} takes over from {target.person}. {BOTH_WRITTEN_TO}"


class TakeOffPage(OfTurn):
    slug = "take-off"
    verb = services.take_off_duty
    button = "Take them off"
    form_class = form_of(reason=reason_field("Such as: did not come."))

    def done(self, target: Turn, result: Turn) -> str:
        return f"{result.person} is not on duty: {result.range_day}."


class ToCome(admin.SimpleListFilter):
    title = "when"
    parameter_name = "when"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("swap", "Ask to swap")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Turn]) -> QuerySet[Turn]:
        return queryset.filter(pk__in=selectors.swaps_asked(clock.today()).values("pk")) if self.value() else queryset


@admin.register(Turn)
class TurnAdmin(DocumentAdmin[Turn]):
    list_display = ("range_day", "person", "duty", "standing")
    list_select_related = ("range_day", "person")
    list_filter = (ToCome, "duty")
    date_hierarchy = "range_day__date"
    search_fields = ("person__given_name", "person__family_name")
    search_help_text = "A name"
    fields = ("range_day", "person", "duty", "standing", "takes_over", "recorded_by")
    readonly_fields = fields
    add_page = TurnPage()
    list_pages = (PlanPage(),)
    pages = (AskSwapPage(), TakeOverPage(), TakeOffPage())

    @admin.display(description="Standing")
    def standing(self, turn: Turn) -> str:
        if turn.ended_on:
            return turn.end_reason
        return f"asks to swap since {day_text(turn.swap_asked_on)}" if turn.swap_asked_on else "on duty"
