"""How long a membership lasts: pure functions of dates."""

import calendar
from dataclasses import dataclass
from datetime import date, timedelta

from clubdesk.clock import months_later


@dataclass(frozen=True)
class Term:
    """A membership's last day, and how many months of the fee it is charged."""

    ends_on: date
    months: int


def term(starts_on: date, months: int, season_ends_month: int | None = None) -> Term:
    """`months` from the first day on; or to the last day of the season's month, each month begun counting whole."""
    if season_ends_month is None:
        return Term(months_later(starts_on, months) - timedelta(days=1), months)
    year = starts_on.year + (starts_on.month > season_ends_month)
    last = date(year, season_ends_month, calendar.monthrange(year, season_ends_month)[1])
    begun = (last.year - starts_on.year) * 12 + last.month - starts_on.month + 1
    return Term(last, min(begun, months))


def whole_months_left(after: date, ends_on: date) -> int:
    """How many whole months lie between the day after `after` and `ends_on`, that day included."""
    first, count = after + timedelta(days=1), 0
    while months_later(first, count + 1) - timedelta(days=1) <= ends_on:
        count += 1
    return count
