"""The one place that knows what day it is; the tests and the demo can set it."""

import calendar
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta

from django.utils import timezone

_fixed: date | None = None


def today() -> date:
    """The club's date today (its own time zone), or the day that was set."""
    return _fixed or timezone.localdate()


def now() -> datetime:
    """This moment; where a day was set, its noon."""
    if _fixed is None:
        return timezone.now()
    return timezone.make_aware(datetime.combine(_fixed, time(12)))


def machine() -> datetime:
    """This moment by the machine, whatever day was set: what another machine's clock is compared with."""
    return timezone.now()


def start_of(day: date) -> datetime:
    """The moment the day begins in the club's time zone."""
    return timezone.make_aware(datetime.combine(day, time()))


def day_before(day: date) -> date:
    return day - timedelta(days=1)


def months_later(day: date, months: int) -> date:
    """The same day `months` later, or the last day of that month where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def day_text(day: date, *, weekday: bool = False, year: bool = True) -> str:
    """A day as tables and messages write it: 3 Jul 2026, with its weekday Fri 3 Jul 2026, without its year 3 Jul."""
    return day.strftime(f"{'%a ' if weekday else ''}{day.day} %b{' %Y' if year else ''}")


def long_day(day: date, *, weekday: bool = False, year: bool = True) -> str:
    """A day as letters write it: 3 July 2026, with its weekday Friday, 3 July 2026, without its year 3 July."""
    return day.strftime(f"{'%A, ' if weekday else ''}{day.day} %B{' %Y' if year else ''}")


def span_text(first: date, last: date) -> str:
    """Days from one to another: 3 Jul 2026 – 9 Jul 2026, or the one day where they are the same."""
    return day_text(first) if first == last else f"{day_text(first)} – {day_text(last)}"


def set_today(day: date | None) -> None:
    """Fix today's date for this process; None lets it run again."""
    global _fixed
    _fixed = day


@contextmanager
def on(day: date) -> Iterator[None]:
    """Within the block, today is `day`."""
    before = _fixed
    set_today(day)
    try:
        yield
    finally:
        set_today(before)
