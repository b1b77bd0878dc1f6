"""Who comes to the range, who stopped coming, who came back after a course, and how long volunteers were there."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.contrib.auth.models import User
from django.db.models import Count, Exists, Max, Min, OuterRef, QuerySet

from clubdesk.courses.models import Certificate
from clubdesk.courses.selectors import completions
from clubdesk.rangeday.models import RangeDay, SignOn, Tap, TillCount
from clubdesk.rangeday.selectors import STANDS
from clubdesk.roll.models import Guardian, Person
from clubdesk.verbs import SHELL_USER

MISSED, MOST_MISSED = 3, 8
"""So many days alike in a row somebody is missed who came weekly; after more of them it is too late for a kind word."""
OF_THE_LAST, WEEKLY = 5, 4
"""Weekly is who came to four of the five days up to the last one that they came to. Both are the project's own."""
LOOKED_BACK = timedelta(weeks=26)
FRESH_FOR = timedelta(weeks=12)


@dataclass(frozen=True)
class Came:
    """Somebody on the roll, to how many range days they came in a span, and when last."""

    person: Person
    days: int
    last: date


def who_came(since: date, until: date) -> list[Came]:
    """Everybody who signed on in the span and is not erased, who came most often first."""
    rows = _sign_ons().filter(range_day__date__range=(since, until))
    counted = rows.values("person").annotate(days=Count("range_day__date", distinct=True), last=Max("range_day__date"))
    found = {row["person"]: (row["days"], row["last"]) for row in counted}
    people = Person.objects.select_related("household").in_bulk(found)
    came = [Came(people[pk], *told) for pk, told in found.items() if pk in people]
    return sorted(came, key=lambda each: (-each.days, str(each.person)))


def _sign_ons() -> QuerySet[SignOn]:
    return SignOn.objects.filter(STANDS, person__isnull=False, person__erased_on=None).order_by()


def held(since: date, until: date) -> QuerySet[RangeDay]:
    """Days of the span on which anybody shot; one that was set up and never held misses nobody."""
    there = SignOn.objects.filter(STANDS, range_day=OuterRef("pk"))
    return RangeDay.objects.filter(Exists(there), date__range=(since, until), called_off_on=None)


@dataclass(frozen=True)
class Stopped:
    """Somebody who came weekly and was missed the latest `missed` days alike, with whom of the family to ring."""

    person: Person
    last: date
    missed: int
    guardian: Guardian | None


def stopped_coming(on: date) -> list[Stopped]:
    """Who came weekly to the days of one weekday at one range, and has missed the latest three of them or more.

    Whoever came on any other day since, or is signed on for one to come, has not stopped.
    """
    days = held(on - LOOKED_BACK, on - timedelta(days=1)).order_by("-date", "-pk")
    alike: dict[tuple[str, int], list[tuple[int, date]]] = defaultdict(list)
    for pk, day, place in days.values_list("pk", "date", "place"):
        alike[place, day.isoweekday()].append((pk, day))
    came: dict[int, dict[int, date]] = defaultdict(dict)
    rows = _sign_ons().filter(range_day__date__gte=on - LOOKED_BACK)
    for person, pk, day in rows.values_list("person", "range_day", "range_day__date"):
        came[person][pk] = day
    found = {
        person: stop
        for person, own in came.items()
        if (stop := _stop(own, alike.values())) and stop[0] == max(own.values())
    }
    return _told(found)


def _stop(own: dict[int, date], alike: Iterable[Sequence[tuple[int, date]]]) -> tuple[date, int] | None:
    """When somebody was last at days that they came to weekly, and how many they have missed since."""
    for days in alike:
        missed = next((number for number, (pk, _) in enumerate(days) if pk in own), len(days))
        before = days[missed : missed + OF_THE_LAST]
        if MISSED <= missed <= MOST_MISSED and sum(pk in own for pk, _ in before) >= WEEKLY:
            return before[0][1], missed
    return None


def _told(found: dict[int, tuple[date, int]]) -> list[Stopped]:
    rows = Person.objects.filter(pk__in=found).select_related("household").prefetch_related("household__guardians")
    told = []
    for person in rows:
        guardians = sorted(person.household.guardians.all(), key=lambda each: (not each.phone, not each.email, each.pk))
        told.append(Stopped(person, *found[person.pk], guardians[0] if guardians else None))
    return sorted(told, key=lambda each: (each.missed, str(each.person)))


@dataclass(frozen=True)
class Fresh:
    """Somebody who completed a course lately, and to how many range days they came since; when first."""

    person: Person
    completed_on: date
    days: int
    first: date | None


def fresh_from_a_course(on: date) -> list[Fresh]:
    """Who completed a course in the last twelve weeks, who has not been back first."""
    rows = completions(on - FRESH_FOR, on).filter(place__person__erased_on=None).select_related("place__person")
    done = {each.place.person: each.completed_on for each in rows.order_by("completed_on")}
    since: dict[int, list[date]] = defaultdict(list)
    came = _sign_ons().filter(person__in=[each.pk for each in done], range_day__date__lte=on)
    for pk, day in came.values_list("person", "range_day__date"):
        since[pk].append(day)
    found = []
    for person, completed_on in done.items():
        back = sorted({day for day in since[person.pk] if day > completed_on})
        found.append(Fresh(person, completed_on, len(back), back[0] if back else None))
    return sorted(found, key=lambda each: (each.days > 0, each.completed_on, str(each.person)))


def not_back_from_a_course(on: date) -> QuerySet[Certificate]:
    """Who completed a course in the last twelve weeks and has not been back at the range."""
    back = SignOn.objects.filter(STANDS, person=OuterRef("place__person"), range_day__date__gt=OuterRef("completed_on"))
    return completions(on - FRESH_FOR, on).filter(~Exists(back), place__person__erased_on=None)


@dataclass(frozen=True)
class Helped:
    """A volunteer: on how many range days the book saw them at work, and for how many hours in all."""

    user: User
    days: int
    hours: Decimal


def volunteers(since: date, until: date) -> list[Helped]:
    """Who signed people on, gave kit out or counted, day by day; a day's hours are those that it was set for, or else
    from the first entry to the last. Whoever helped without an entry is not in the book.
    """
    days = {day.pk: day for day in RangeDay.objects.filter(date__range=(since, until), called_off_on=None)}
    at_work: dict[int, set[int]] = defaultdict(set)
    spans: dict[int, list[datetime]] = defaultdict(list)
    entries = Tap.objects.filter(range_day__in=days).order_by().values_list("range_day", "recorded_by")
    for day, user, first, last in entries.annotate(first=Min("tapped_at"), last=Max("tapped_at")):
        at_work[user].add(day)
        spans[day] += [first, last]
    for model, who in ((SignOn, "recorded_by"), (TillCount, "recorded_by"), (TillCount, "second_counter")):
        for day, user in model.objects.filter(range_day__in=days).order_by().values_list("range_day", who).distinct():
            at_work[user].add(day)
    hours = {pk: _hours(day, spans[pk]) for pk, day in days.items()}
    users = User.objects.exclude(username=SHELL_USER).in_bulk(at_work)
    found = [
        Helped(users[pk], len(own), sum((hours[day] for day in own), Decimal(0)))
        for pk, own in at_work.items()
        if pk in users
    ]
    return sorted(found, key=lambda each: (-each.hours, -each.days, each.user.pk))


def _hours(day: RangeDay, entries: Sequence[datetime]) -> Decimal:
    if day.begins_at and day.ends_at:
        seconds = (datetime.combine(day.date, day.ends_at) - datetime.combine(day.date, day.begins_at)).total_seconds()
    else:
        seconds = (max(entries) - min(entries)).total_seconds() if entries else 0
    return (Decimal(seconds) / 3600).quantize(Decimal("0.1"), ROUND_HALF_UP)
