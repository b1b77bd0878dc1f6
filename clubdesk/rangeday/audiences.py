"""Whom of the range the club may write to together, and what is to come for them."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta

from clubdesk.audiences import Audience, ToCome
from clubdesk.rangeday.models import RangeDay, SignOn
from clubdesk.rangeday.selectors import STANDS
from clubdesk.rangeday.usual import times_came
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import people_of_families

BACK, AHEAD = timedelta(days=7), timedelta(days=28)
OFTEN = 2
"""Who came so often to the latest eight days alike usually comes: a quarter of them. Common practice, no source."""


def _days_near(on: date) -> Iterator[tuple[int, str]]:
    near = RangeDay.objects.filter(date__range=(on - BACK, on + AHEAD)).order_by("date", "place")
    days = list(near)
    for day in sorted(days, key=lambda day: (day.date < on, abs(day.date - on))):
        yield day.pk, str(day)


def _signed_on(chosen: int, on: date) -> dict[int, list[int]]:
    rows = SignOn.objects.filter(STANDS, range_day=chosen, person__erased_on=None, person__isnull=False)
    return people_of_families(rows.order_by("pk").values_list("person__household", "person"))


def _usual(chosen: int, on: date) -> Mapping[int, Sequence[int]]:
    day = RangeDay.objects.filter(pk=chosen).first()
    return usual_families(day) if day else {}


def usual_families(day: RangeDay, besides: Iterable[int] = ()) -> dict[int, list[int]]:
    """Who usually comes on days like that one, by family, but for the people `besides`."""
    often = {person for person, times in times_came(day).items() if times >= OFTEN} - set(besides)
    people = Person.objects.filter(pk__in=often, erased_on=None).order_by("birth_date", "pk")
    return people_of_families(people.values_list("household", "pk"))


def to_come(people: Sequence[int], on: date) -> Iterator[ToCome]:
    """The range days for which they are signed on."""
    rows = SignOn.objects.filter(STANDS, person__in=people, range_day__date__gte=on)
    for person, day, place in rows.values_list("person", "range_day__date", "range_day__place"):
        yield ToCome(person, day, str(place))


AUDIENCES = (
    Audience("signed-on", "Who signed on for a range day", _signed_on, _days_near),
    Audience("usual", "Who usually comes on days like", _usual, _days_near),
)
