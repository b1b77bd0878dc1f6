"""Whom a voucher is for, what it is known by and until when it holds: pure functions of a scheme's rules."""

import calendar
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol, TypeVar

from django.db.models import TextChoices
from stdnum import luhn

from clubdesk.clock import months_later

SIGNS = {"#": "[0-9]", "@": "[A-Z]", "*": "[0-9A-Z]"}


class AgedBy(TextChoices):
    """What decides whether a child is of the ages of a scheme."""

    DAY = "day", "The age on the day on which the club takes it"
    NAMED_DAY = "named", "The age on one named day of the scheme’s year"
    BIRTH_YEAR = "born", "The year of birth: the age reached in the calendar year"
    SCHOOL_YEAR = "school", "The school year"


class CheckDigit(TextChoices):
    """How a wrong digit in the key of a voucher is noticed."""

    NONE = "none", "None"
    LUHN = "luhn", "The last digit, by the Luhn rule"
    WEIGHTED = "weighted", "Weighted: what the first digits come to, to 10, is the next"


@dataclass(frozen=True)
class Ages:
    """Whom a scheme is for. `youngest` and `oldest` are whole years, of `SCHOOL_YEAR` school years with 0 the first.

    `months` come on top of the youngest age. `month` and `day` are the named day, or the last day on which a child is
    `starts_at` to begin school in that year; the scheme's year begins on the first of the month `year_begins`.
    Somebody born on 29 February is a year older on 1 March in other years, as everywhere in the book; where a doubt
    is for the child (`favours_child`), already on 28 February, and the day of issue counts as well.
    """

    by: str = AgedBy.DAY
    youngest: int | None = None
    oldest: int | None = None
    months: int = 0
    month: int = 1
    day: int = 1
    starts_at: int = 5
    year_begins: int = 1
    favours_child: bool = False


def year_of(day: date, begins: int = 1) -> int:
    """The scheme's year of that day, by the calendar year in which it begins."""
    return day.year if day.month >= begins else day.year - 1


def day_of(year: int, month: int, day: int, begins: int = 1) -> date:
    """That day of a month in the scheme's year; in a month without it, the last day of the month."""
    calendar_year = year if month >= begins else year + 1
    return date(calendar_year, month, min(day, calendar.monthrange(calendar_year, month)[1]))


def born_by(day: date, months: int, *, early: bool = False) -> date:
    """The last day of birth of whoever is so many months old on `day`.

    Who has no such day in the month gets older on the first of the next, or `early` on the last of the same.
    """
    last = months_later(day, -months)
    is_month_end = day.day == calendar.monthrange(day.year, day.month)[1]
    return last.replace(day=calendar.monthrange(last.year, last.month)[1]) if early and is_month_end else last


def born_between(ages: Ages, day: date) -> tuple[date, date]:
    """The first and the last day of birth of whom the scheme is for on `day`: all between are, nobody else is."""
    if ages.by == AgedBy.BIRTH_YEAR:
        first = date(day.year - ages.oldest, 1, 1) if ages.oldest is not None else date.min
        return first, min(date(day.year - (ages.youngest or 0), 12, 31), day)
    if ages.by == AgedBy.SCHOOL_YEAR:
        return _in_school(ages, day)
    counts = day
    if ages.by == AgedBy.NAMED_DAY:
        counts = day_of(year_of(day, ages.year_begins), ages.month, ages.day, ages.year_begins)
    first = date.min
    if ages.oldest is not None:
        first = born_by(counts, (ages.oldest + 1) * 12) + timedelta(days=1)
    if ages.youngest is None:
        return first, day
    return first, born_by(counts, ages.youngest * 12 + ages.months, early=ages.favours_child)


def _in_school(ages: Ages, day: date) -> tuple[date, date]:
    """Who began school by the last day of some year is of the ages by the years since."""

    def began_by(year: int) -> date:
        return born_by(day_of(year, ages.month, ages.day), ages.starts_at * 12, early=ages.favours_child)

    last = began_by(day.year - (ages.youngest or 0))
    if ages.oldest is None:
        return date.min, last
    return began_by(day.year - ages.oldest - 1) + timedelta(days=1), last


def is_of_age(
    ages: Ages, born: date, day: date, *, issued_on: date | None = None, school_year: int | None = None
) -> bool:
    """Whether the scheme is for a child of that birthday on `day`.

    Where the scheme goes by school years and the family has said in which the child is, that counts.
    """
    if ages.by == AgedBy.SCHOOL_YEAR and school_year is not None:
        return (ages.youngest or 0) <= school_year and (ages.oldest is None or school_year <= ages.oldest)
    days = [day, issued_on] if ages.favours_child and issued_on else [day]
    return any(first <= born <= last for first, last in (born_between(ages, each) for each in days))


def lapses_on(issued_on: date | None, valid_days: int | None) -> date | None:
    """The last day on which a voucher holds: so many days after its issue."""
    return issued_on + timedelta(days=valid_days) if issued_on and valid_days is not None else None


def earliest(*days: date | None) -> date | None:
    """The first of the days that there are."""
    return min((day for day in days if day), default=None)


class Opens(Protocol):
    """A part of each year in which a voucher of a scheme is taken."""

    from_month: int
    from_day: int
    until_month: int
    until_day: int


Window = TypeVar("Window", bound=Opens)


def window_on(windows: Sequence[Window], day: date, begins: int = 1) -> Window | None:
    """The window that is open on that day; the first, where two are."""
    year = year_of(day, begins)
    for each in windows:
        first = day_of(year, each.from_month, each.from_day, begins)
        if first <= day <= day_of(year, each.until_month, each.until_day, begins):
            return each
    return None


def opens_next(windows: Sequence[Opens], day: date, begins: int = 1) -> date:
    """The next day after `day` on which a window opens."""
    year = year_of(day, begins)
    opens = [day_of(y, each.from_month, each.from_day, begins) for y in (year, year + 1) for each in windows]
    return min(first for first in opens if first > day)


def code_fits(form: str, code: str) -> bool:
    """Whether a code has a scheme's form: # a digit, @ a letter, * either, all else itself."""
    return re.fullmatch("".join(SIGNS.get(sign, re.escape(sign.upper())) for sign in form), code) is not None


def digit_holds(check: str, weights: str, code: str) -> bool:
    """Whether the check digit of a key is right. Of a weighted one, each of the first digits times its weight, added
    up, ends in the digit that follows them.
    """
    digits = "".join(sign for sign in code if sign.isdigit())
    if check == CheckDigit.LUHN:
        return bool(luhn.is_valid(digits))
    if check == CheckDigit.WEIGHTED:
        factors = [int(each) for each in weights.split()]
        if len(digits) <= len(factors):
            return False
        return sum(int(digit) * factor for digit, factor in zip(digits, factors, strict=False)) % 10 == int(
            digits[len(factors)]
        )
    return True


def promised_by(claimed_on: date, days: int | None, *, working: bool = False) -> date | None:
    """By when a department pays a claim by its own promise: so many days after it, or working days.

    Working days are those from Monday to Friday; holidays are not known here, so a day later is no surprise.
    """
    if days is None:
        return None
    if not working:
        return claimed_on + timedelta(days=days)
    day = claimed_on
    while days:
        day += timedelta(days=1)
        days -= day.weekday() < 5
    return day
