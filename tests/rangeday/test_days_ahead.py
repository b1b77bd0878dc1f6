"""The range days that a demo leaves for the weeks ahead: Saturdays, and none in the summer break."""

from datetime import date

import pytest

from clubdesk.rangeday.demo import leave
from clubdesk.rangeday.models import RangeDay

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("today", "first", "count"),
    [(date(2026, 9, 12), date(2026, 9, 19), 6), (date(2026, 12, 10), date(2026, 12, 12), 3)],
)
def test_the_saturdays_ahead_are_known_but_for_the_break(book, today, first, count):
    leave(None, today)
    days = list(RangeDay.objects.order_by("date").values_list("date", flat=True))
    assert (days[0], len(days)) == (first, count)
    assert {day.weekday() for day in days} == {5}
    assert not any(date(2026, 12, 20) <= day <= date(2027, 1, 9) for day in days)
    leave(None, today)
    assert RangeDay.objects.count() == count
