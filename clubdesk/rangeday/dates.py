"""What the calendar shows of the range: its days, those called off too, and when nobody shoots."""

from collections.abc import Iterator, Sequence
from datetime import date

from clubdesk import clock
from clubdesk.dates import Dated
from clubdesk.membership.selectors import members_on
from clubdesk.rangeday.models import ClosedDays, RangeDay
from clubdesk.roll.models import Household, Person


def dates(first: date, last: date) -> Iterator[Dated]:
    for day in RangeDay.objects.filter(date__range=(first, last)):
        yield _of_day(day)
    for closed in ClosedDays.objects.filter(first_day__lte=last, last_day__gte=first):
        yield Dated(f"closed {closed.pk}", "closed", f"No shooting: {closed.reason}", closed.first_day, closed.last_day)


def dates_of(home: Household, people: Sequence[Person], first: date, last: date) -> Iterator[Dated]:
    """The range is every member's; a family without one is not told of it."""
    if members_on(clock.today()).filter(person__in=people).exists():
        yield from dates(first, last)


def _of_day(day: RangeDay) -> Dated:
    return Dated(
        f"rangeday {day.pk}",
        "range",
        "Range day",
        day.date,
        day.date,
        line=f"Called off: {day.called_off_reason}" if day.called_off_on else "",
        place=day.place,
        begins=day.begins_at,
        ends=day.ends_at,
        is_off=day.called_off_on is not None,
    )
