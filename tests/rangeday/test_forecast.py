"""Who is likely to come: against the published method, and on seasons that know nothing of it."""

import math
import random
from datetime import timedelta
from statistics import mean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdesk.rangeday import forecast
from clubdesk.rangeday.models import RangeDay, SignOn
from tests import factories
from tests.worlds.season import NOW

COUNTS = st.lists(st.integers(0, 90), min_size=forecast.FEWEST, max_size=60)


def generated(seed, weeks=70):
    """A club's Saturdays: a level that drifts, a summer that is fuller, and chance (no source; made for the tests)."""
    chance, level = random.Random(seed), 30.0
    for week in range(weeks):
        level = max(8.0, level + chance.gauss(0.05, 0.4))
        season = 1 + 0.06 * math.sin(2 * math.pi * week / 52)
        yield max(0, round(chance.gauss(level * season, math.sqrt(level) * 0.8)))


def test_it_is_simple_exponential_smoothing():
    """Hyndman and Athanasopoulos, Forecasting (3rd ed.), equation 8.1: each weight is (1 - a) of the one after it."""
    counts = [20, 30, 26, 41, 35]
    weights = [(1 - forecast.WEIGHT) ** (len(counts) - 1 - place) for place in range(len(counts))]
    by_hand = sum(weight * count for weight, count in zip(weights, counts, strict=True)) / sum(weights)
    assert forecast.smoothed(counts)[-1] == pytest.approx(by_hand)


def test_on_generated_seasons_it_is_nearer_than_last_week_and_than_the_mean_of_the_last_four():
    ours, four, last, within, days = [], [], [], 0, 0
    for seed in range(12):
        counts = list(generated(seed))
        for week in range(20, len(counts)):
            before, came = counts[:week], counts[week]
            found = forecast.band(before)
            ours.append(abs(forecast.smoothed(before)[-1] - came))
            four.append(abs(mean(before[-4:]) - came))
            last.append(abs(before[-1] - came))
            within += found.least <= came <= found.most
            days += 1
    assert mean(ours) < mean(four) < mean(last)
    assert 0.75 < within / days < 0.95


@given(COUNTS)
def test_a_band_holds_what_is_likely_and_nothing_below_nil(counts):
    found = forecast.band(counts)
    assert 0 <= found.least <= found.likely <= found.most
    assert min(counts) <= found.likely <= max(counts)


@given(st.integers(0, 90), st.integers(forecast.FEWEST, 30))
def test_days_that_were_all_alike_let_expect_the_same(count, days):
    assert forecast.band([count] * days) == forecast.Band(count, count, count)


@pytest.mark.django_db
class TestOfADay:
    def days(self, by, counts):
        for weeks, count in enumerate(counts):
            day = factories.range_day(NOW - timedelta(weeks=len(counts) - weeks))
            self.sign_on(day, count, by)

    def sign_on(self, day, count, by):
        for _ in range(count):
            child = factories.PersonFactory()
            SignOn.objects.create(range_day=day, person=child, gear="own", paid="nothing", recorded_by=by)

    def test_fewer_than_four_days_let_expect_nothing(self, by):
        self.days(by, [3, 4, 3])
        assert forecast.expecting(factories.range_day(NOW)).people is None

    def test_days_of_that_weekday_at_that_range_count_and_no_others(self, by):
        self.days(by, [3, 3, 3, 3])
        elsewhere = RangeDay.objects.create(date=NOW - timedelta(weeks=1), place="Far range")
        self.sign_on(elsewhere, 9, by)
        self.sign_on(factories.range_day(NOW - timedelta(days=1)), 9, by)
        found = forecast.expecting(factories.range_day(NOW))
        assert found.people == forecast.Band(3, 3, 3)
        assert found.kit == []
