"""Questions about a safe day: who is on duty with which checks, what the club asks for, who is there."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.db.models import Exists, IntegerField, OuterRef, Q, QuerySet, Subquery, Value

from clubdesk import clock
from clubdesk.care.models import MayCollect
from clubdesk.care.selectors import CHILD_UNDER
from clubdesk.clock import day_text, months_later
from clubdesk.courses.models import day_years_before
from clubdesk.moment import once, remembered_for
from clubdesk.rangeday.audiences import OFTEN
from clubdesk.rangeday.models import RangeDay, SignOn
from clubdesk.rangeday.selectors import STANDS, days_about
from clubdesk.rangeday.usual import times_came
from clubdesk.roll.models import Guardian, Person
from clubdesk.safety.models import (
    ASKED_OF,
    CheckKind,
    DayRules,
    Duty,
    Incident,
    Involved,
    Opening,
    Stay,
    Turn,
    VolunteerCheck,
)

NOT_ENDED = Q(ended_on=None)
SOON = timedelta(days=60)
"""So long before it lapses a check is renewed: common practice, no source."""
WEEKS_AHEAD = timedelta(weeks=8)


def rules_on(day: date) -> DayRules:
    """What the club asks on that day; unsaved, and nothing of duty, where it has said nothing."""
    return DayRules.objects.filter(since__lte=day).first() or _no_rules(day)


def _no_rules(day: date) -> DayRules:
    return DayRules(since=day, people=0, children=1, arrivals=False)


def needed(rules: DayRules, children: int) -> int:
    """How many people on duty the rules ask for: so many for every so many children begun."""
    return rules.people * -(-max(children, 1) // rules.children)


def covered(rules: DayRules, on_duty: int) -> int:
    """For how many children so many people on duty are enough."""
    return on_duty // rules.people * rules.children if rules.people else 0


def is_child(person: Person, day: date) -> bool:
    return person.birth_date > day_years_before(day, CHILD_UNDER)


# Checks


def lapsed(person: Person, duty: Duty, day: date) -> str:
    """Why somebody cannot have a duty on a day: a check that was seen has lapsed; blank where none has.

    Who has no check at all may be on duty where the law allows that, and does not count.
    """
    rows = VolunteerCheck.objects.filter(person=person, kind__in=ASKED_OF[duty]).order_by("kind", "expires_on", "pk")
    latest: dict[str, VolunteerCheck] = {}
    for row in rows:
        is_good = row.ended_on is None and row.expires_on >= day
        if row.kind not in latest or is_good or not _is_good(latest[row.kind], day):
            latest[row.kind] = row
    for row in latest.values():
        if not _is_good(row, day):
            return f"{_lapsed_words(row)} See the new one first, then put them on duty."
    return ""


def _is_good(row: VolunteerCheck, day: date) -> bool:
    return row.ended_on is None and row.expires_on >= day


def _lapsed_words(row: VolunteerCheck) -> str:
    what = f"The {row.get_kind_display().lower()} of {row.person}"
    if row.ended_on:
        return f"{what} is no longer good since {day_text(row.ended_on)}."
    return f"{what} lapsed on {day_text(row.expires_on)}."


def lapsing(on: date) -> QuerySet[VolunteerCheck]:
    """The checks that lapse soon, of which no later one was seen yet."""
    later = VolunteerCheck.objects.filter(
        NOT_ENDED, person=OuterRef("person"), kind=OuterRef("kind"), expires_on__gt=OuterRef("expires_on")
    )
    rows = VolunteerCheck.objects.filter(NOT_ENDED, ~Exists(later), expires_on__range=(on, on + SOON))
    return rows.filter(person__erased_on=None).select_related("person__household").order_by("expires_on", "pk")


# Who is on duty


@dataclass(frozen=True)
class OnDuty:
    """A turn, and until when the working with children check of who has it is good; None where none is on that day."""

    turn: Turn
    good_through: date | None


@dataclass(frozen=True)
class Standing:
    """How a range day stands: who is on duty, for how many children, and how the day began, where it has."""

    day: RangeDay
    rules: DayRules
    turns: Sequence[OnDuty]
    children: int
    opening: Opening | None = None

    @property
    def on_duty(self) -> int:
        """How many people with a current working with children check."""
        return len({each.turn.person_id for each in self.turns if each.good_through})

    @property
    def needed(self) -> int:
        return needed(self.rules, self.children)

    @property
    def is_short(self) -> bool:
        return self.on_duty < self.needed

    @property
    def words(self) -> str:
        """How many there are and how many the club asks for, in one sentence."""
        children = "1 child" if self.children == 1 else f"{self.children} children"
        people = f"{self.on_duty or 'nobody'} {'are' if self.on_duty > 1 else 'is'}"
        said = f"{people} on duty with a current working with children check"
        return f"{self.day}: {said}, and the club asks for {self.needed} for {children}."


def standings(days: Iterable[RangeDay], expected: bool = True) -> list[Standing]:
    """How each of the days stands; as many questions for many as for one, but for who usually comes."""
    days = list(days)
    turns = _on_duty(days)
    rules = list(DayRules.objects.all())
    begun = Opening.objects.filter(range_day__in=days).order_by("pk") if rules else ()
    openings = {row.range_day_id: row for row in begun}
    children = children_expected(days) if expected and any(row.people for row in rules) else {}
    found = []
    for day in days:
        own = [each for each in turns if each.turn.range_day_id == day.pk]
        in_force = next((row for row in rules if row.since <= day.date), None) or _no_rules(day.date)
        found.append(Standing(day, in_force, own, children.get(day.pk, 1), openings.get(day.pk)))
    return found


def _on_duty(days: Sequence[RangeDay]) -> list[OnDuty]:
    """The turns of the days, by duty and name, each with how long the check of who has it is good."""
    good = VolunteerCheck.objects.filter(
        NOT_ENDED, kind=CheckKind.CHILDREN, person=OuterRef("person"), expires_on__gte=OuterRef("range_day__date")
    )
    turns = Turn.objects.filter(NOT_ENDED, range_day__in=days).select_related("person", "range_day")
    turns = turns.annotate(good_through=Subquery(good.order_by("-expires_on").values("expires_on")[:1]))
    found = [OnDuty(turn, vars(turn)["good_through"]) for turn in turns]
    return sorted(found, key=lambda each: (Duty.values.index(each.turn.duty), str(each.turn.person)))


def standing(day: RangeDay) -> Standing:
    return standings([day])[0]


def children_there(day: RangeDay) -> int:
    """The children of the roll who are signed on."""
    born_after = day_years_before(day.date, CHILD_UNDER)
    return SignOn.objects.filter(STANDS, range_day=day, person__birth_date__gt=born_after).count()


def children_expected(days: Sequence[RangeDay]) -> dict[int, int]:
    """By the day's id the children who are signed on or usually come on such days; at least one."""
    coming = {day.pk: set(_often(day)) for day in days}
    there = SignOn.objects.filter(STANDS, range_day__in=coming, person__isnull=False, person__erased_on=None)
    usual = Person.objects.filter(pk__in=set().union(*coming.values()), erased_on=None).order_by()
    of_no_day = usual.values_list("pk", "birth_date", Value(None, output_field=IntegerField()))
    born = {}
    for person, birth_date, day in (
        there.order_by().values_list("person", "person__birth_date", "range_day").union(of_no_day, all=True)
    ):
        born[person] = birth_date
        if day:
            coming[day].add(person)
    return {day.pk: max(_children(day.date, coming[day.pk], born), 1) for day in days}


def _children(on: date, people: Iterable[int], born: Mapping[int, date]) -> int:
    born_after = day_years_before(on, CHILD_UNDER)
    return sum(pk in born and born[pk] > born_after for pk in people)


def _often(day: RangeDay) -> list[int]:
    """Who usually comes on days alike, by their ids; to a day of the weeks ahead who comes to the next of its kind."""
    weeks = max((day.date - clock.today()).days // 7, 0)
    return regulars(day.date - timedelta(weeks=weeks), day.place)


@remembered_for(timedelta(hours=1))
def regulars(on: date, place: str) -> list[int]:
    """Who came often on the days alike before it."""
    return [person for person, times in times_came(RangeDay(date=on, place=place)).items() if times >= OFTEN]


def opening_of(day: RangeDay) -> Opening | None:
    """How the day began last; None where it has not."""
    return Opening.objects.filter(range_day=day).first()


def coming_days(on: date) -> QuerySet[RangeDay]:
    """The range days of the next weeks that are open."""
    rows = RangeDay.objects.filter(closed_on=None, called_off_on=None, date__range=(on, on + WEEKS_AHEAD))
    return rows.order_by("date", "place")


def short_days(on: date) -> list[Standing]:
    """The days of the next week that have too few on duty, and did not begin for a reason."""
    week = [each for each in coming_standings(on) if each.day.date <= on + timedelta(days=7) and each.rules.people]
    left = [each for each in week if not (each.opening and each.opening.reason)]
    children = children_expected([each.day for each in left])
    near = [replace(each, children=children[each.day.pk]) for each in left]
    return [each for each in near if each.is_short]


@once
def coming_standings(on: date) -> list[Standing]:
    """How the range days of the next weeks stand, as if one child came to each."""
    days = [day for day in days_about(on) if on <= day.date <= on + WEEKS_AHEAD and day.is_open]
    return standings(days, expected=False)


def swaps_asked(on: date) -> QuerySet[Turn]:
    return Turn.objects.filter(
        NOT_ENDED, swap_asked_on__isnull=False, range_day__date__gte=on, range_day__called_off_on=None
    )


# Who is there


def still_there(on: date) -> QuerySet[Stay]:
    """The children who came alone and of whom nobody noted that they left."""
    return Stay.objects.filter(left_at=None, range_day__date__lte=on, person__erased_on=None)


def may_collect(person: Person, name: str) -> bool:
    """Whether somebody of that name is a guardian of the child, or named by the family as who may collect."""
    wanted = _plain(name)
    names = [
        *Guardian.objects.filter(household=person.household_id).values_list("name", flat=True),
        *MayCollect.objects.filter(person=person).values_list("name", flat=True),
    ]
    return any(_plain(each) == wanted for each in names)


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


# Incidents


def kept_until(incident: Incident) -> date:
    """Until when the record keeps its words and names: as the club said when it happened, or longer, as it says now."""
    years = rules_on(clock.today()).keep_years
    return max(incident.kept_until, months_later(incident.happened_on, 12 * years))


def not_told(on: date) -> QuerySet[Incident]:
    """Incidents with a child of which no guardian was told, but where a child may be at risk: there the law says whom
    to tell.
    """
    child = Involved.objects.filter(incident=OuterRef("pk"), part="child")
    return Incident.objects.filter(Exists(child), told_on=None, at_risk=False, happened_on__lte=on)


def names_kept_of(person: Person) -> list[tuple[Incident, date]]:
    """The records that keep somebody's name after their details are erased, each with until when."""
    rows = Involved.objects.filter(person=person).exclude(name="erased").select_related("incident").order_by("pk")
    return [(row.incident, kept_until(row.incident)) for row in rows]
