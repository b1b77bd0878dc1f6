"""Whom a voucher is for: each scheme against a table of its own, for each day and each birthday; its key, its days."""

import calendar
from datetime import date, timedelta

import pytest

from clubdesk.fees.eligible import (
    Ages,
    born_between,
    code_fits,
    digit_holds,
    is_of_age,
    lapses_on,
    opens_next,
    window_on,
    year_of,
)
from clubdesk.fees.models import VoucherWindow
from tests.fees import ten_schemes as ten

DAY = timedelta(days=1)


def every_day(first, last):
    return [first + n * DAY for n in range((last - first).days + 1)]


DAYS = every_day(*ten.TWO_YEARS)
BORN = every_day(date(2006, 1, 1), date(2011, 12, 31)) + every_day(date(2017, 1, 1), date(2022, 12, 31))
"""Twelve years of birthdays: those at the oldest ages of the schemes, and those at the youngest."""


BIRTHDAYS = [(born.year, born.month, born.day, born.year * 12 + born.month) for born in BORN]


def lived(day, least, most, kindly=False):
    """Who has lived at least so many whole months on the day, and fewer than so many.

    Somebody without such a day in the month waits for the first of the next; kindly, for the least, only for its last.
    """
    here, of_month = day.year * 12 + day.month, day.day
    is_month_end = kindly and of_month == calendar.monthrange(day.year, day.month)[1]
    return [
        least <= here - since - (of_month < d and not is_month_end) and here - since - (of_month < d) < most
        for _, _, d, since in BIRTHDAYS
    ]


def at_school(day, starts_at, last, youngest, oldest):
    """Who is in these school years: children begin in the year in which they are old enough by `last`."""
    return [youngest <= day.year - year - starts_at - ((month, d) > last) <= oldest for year, month, d, _ in BIRTHDAYS]


# Each as its source says it; it shares nothing with the rules of the room. By the day: who of BIRTHDAYS is in.
TABLE = {
    ten.SA_2025: lambda day: [day.year - 15 <= year <= day.year - 5 for year, *_ in BIRTHDAYS],
    ten.NSW_2025: lambda day: lived(day, 4 * 12 + 6, 19 * 12),
    ten.WA_V3: lambda day: lived(day, 5 * 12, 19 * 12),
    ten.QLD_2025: lambda day: lived(day, 5 * 12, 18 * 12),
    ten.VIC_2025: lambda day: lived(day, 0, 19 * 12),
    ten.BY_NEW_YEAR: lambda day: [8 <= day.year - y - ((m, d) > (1, 1)) <= 14 for y, m, d, _ in BIRTHDAYS],
    ten.BY_MID_YEAR: lambda day: lived(date(day.year + (day.month > 6), 1, 31), 66, 13 * 12),
    ten.BY_SCHOOL: lambda day: at_school(day, 5, (4, 30), 0, 9),
    # Six by 28 February: kindly that is who was born on the 29th too.
    ten.BY_SCHOOL_KINDLY: lambda day: at_school(day, 6, (2, 29), 3, 6),
    ten.KINDLY: lambda day: lived(day, 6 * 12, 17 * 12, kindly=True),
}


@pytest.mark.parametrize("scheme", ten.TEN, ids=lambda scheme: scheme.name)
def test_each_day_of_two_years_it_is_for_the_children_of_its_table(scheme):
    ages, table, both = scheme.unsaved().ages, TABLE[scheme], set()
    for day in DAYS:
        first, last = born_between(ages, day)
        found, said = [first <= born <= last for born in BORN], table(day)
        wrong = [str(born) for born, one, other in zip(BORN, found, said, strict=True) if one != other]
        assert wrong == [], f"on {day}"
        both.update(found)
    assert both == {True, False}, "the birthdays reach over the ages of the scheme"


@pytest.mark.parametrize(("scheme", "born", "day", "is_in"), [
    # Source: the terms of South Australia, 2025: born 2010 to 2020.
    (ten.SA_2025, date(2020, 12, 31), date(2025, 2, 1), True),
    (ten.SA_2025, date(2009, 12, 31), date(2025, 2, 1), False),
    # Born 2011 to 2021 in 2026: fifteen years old and out, four years old and in.
    (ten.SA_2025, date(2010, 12, 3), date(2026, 11, 27), False),
    (ten.SA_2025, date(2021, 12, 3), date(2026, 11, 27), True),
    (ten.NSW_2025, date(2021, 2, 10), date(2025, 8, 9), False),
    (ten.NSW_2025, date(2021, 2, 10), date(2025, 8, 10), True),
    (ten.QLD_2025, date(2008, 5, 4), date(2026, 5, 3), True),
    (ten.QLD_2025, date(2008, 5, 4), date(2026, 5, 4), False),
])  # fmt: skip
def test_the_cases_of_the_terms(scheme, born, day, is_in):
    assert is_of_age(scheme.unsaved().ages, born, day) is is_in


def test_a_doubt_is_for_the_child_only_where_the_scheme_says_so():
    born, end_of_february = date(2020, 2, 29), date(2025, 2, 28)
    strict, kindly = (Ages(youngest=5, oldest=15, favours_child=kind) for kind in (False, True))
    assert (is_of_age(strict, born, end_of_february), is_of_age(kindly, born, end_of_february)) == (False, True)
    grown, issued, today = date(2010, 6, 20), date(2026, 6, 1), date(2026, 6, 25)
    for ages, is_in in ((strict, False), (kindly, True)):
        assert is_of_age(ages, grown, today, issued_on=issued) is is_in


def test_the_school_year_that_the_family_says_counts():
    ages, born, day = ten.BY_SCHOOL.unsaved().ages, date(2010, 6, 1), date(2026, 3, 1)
    assert not is_of_age(ages, born, day), "in year 10 by the birthday"
    assert is_of_age(ages, born, day, school_year=9)
    assert not is_of_age(ages, date(2014, 6, 1), day, school_year=10)


@pytest.mark.parametrize(("form", "code", "fits"), [
    ("******", "A1B2C3", True), ("******", "A1B2C", False), ("******", "a1b2c3", False),
    ("###########", "21234567811", True),
])  # fmt: skip
def test_a_key_has_its_form(form, code, fits):
    assert code_fits(form, code) is fits


def test_a_weighted_digit_notices_every_wrong_digit_and_a_luhn_digit_too():
    weights, good = "1 3 7 9 1 3 7 9", "2123456701"
    digits = [int(sign) for sign in good[:8]]
    good = good[:8] + str(sum(a * b for a, b in zip(digits, (1, 3, 7, 9, 1, 3, 7, 9), strict=True)) % 10) + "11"
    luhn = "79927398713"  # Source: ISO/IEC 7812-1, the example that is commonly given of it.
    for check, code, covered in (("weighted", good, 9), ("luhn", luhn, 11)):
        assert digit_holds(check, weights, code)
        for place in range(covered):
            for other in set("0123456789") - {code[place]}:
                assert not digit_holds(check, weights, code[:place] + other + code[place + 1 :])
    assert not digit_holds("weighted", weights, "12345678")
    assert digit_holds("none", "", "anything")


def test_windows_lapses_and_years():
    windows = [
        VoucherWindow(from_month=1, from_day=15, until_month=7, until_day=14),
        VoucherWindow(from_month=7, from_day=15, until_month=12, until_day=31),
    ]
    found = [
        window_on(windows, day) for day in (date(2026, 1, 14), date(2026, 1, 15), date(2026, 7, 14), date(2026, 7, 15))
    ]
    assert found == [None, windows[0], windows[0], windows[1]]
    assert opens_next(windows, date(2026, 1, 1)) == date(2026, 1, 15)
    assert opens_next(windows, date(2026, 12, 1)) == date(2027, 1, 15)
    over_new_year = [VoucherWindow(from_month=11, from_day=1, until_month=2, until_day=29)]
    assert window_on(over_new_year, date(2027, 2, 28), begins=7) is over_new_year[0]
    assert window_on(over_new_year, date(2027, 3, 1), begins=7) is None
    assert [year_of(day, 7) for day in (date(2026, 6, 30), date(2026, 7, 1))] == [2025, 2026]
    assert lapses_on(date(2026, 1, 1), 90) == date(2026, 4, 1)
    assert lapses_on(None, 90) is None
