"""What the fund's forecast takes for granted where the book knows little, by figures that can be worked out.

How many children claim is drawn as Poisson counts about a mean that is itself gamma distributed, which is a negative
binomial count; that nobody claims has the chance (b / (b + c)) ** a for the shape a, the rate b and the part c.
Source: Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 2.6.
The mean of a beta distribution is a / (a + b).
"""

import math

import pytest

from clubdesk.entryfund import forecast as module
from clubdesk.entryfund.forecast import EventAhead, Known, forecast

NOW = 24
MANY = 20_000
CERTAIN = 10**9


@pytest.fixture
def often(monkeypatch):
    monkeypatch.setattr(module, "PLAYS", MANY)


def near(chance):
    """Within four standard errors of so many plays."""
    return pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / MANY))


def asked(**more):
    return forecast(Known(**{"fund": 0, "now": NOW, "months": 0, "month_left": 0.0, "approved": CERTAIN, **more}))


@pytest.mark.parametrize(
    ("approved", "declined", "passes"),
    [
        (0, 0, 9 / 10),
        (9, 1, 18 / 20),
        (0, 10, 9 / 20),
        (10, 0, 19 / 20),
    ],
)
def test_nine_claims_in_ten_pass_until_the_club_knows_better(often, approved, declined, passes):
    assert asked(waiting=[1], approved=approved, declined=declined).chance == near(1 - passes)


@pytest.mark.parametrize(
    ("children", "days", "nobody"),
    [
        ({}, 1, (1 / 2) ** 5),
        ({}, 0, (1 / 2) ** 5),
        ({}, -30, (1 / 1.5) ** 5),  # half of the sixty days are over
        # Three came once: (5 + 3) / 2 = 4 are usual, weighed as one event more, so 4 + 3 in two.
        ({"clout": [3]}, 1, (2 / 3) ** 7),
        ({"field": [3]}, 1, (1 / 2) ** 4),
        # Of three events (5 + 1 + 2 + 0) / 4 = 2 are usual; its own two had 3.
        ({"clout": [1, 2], "field": [0]}, 1, (3 / 4) ** 5),
    ],
)
def test_five_children_enter_an_event_until_the_club_knows_better(often, children, days, nobody):
    found = asked(children=children, ahead=[EventAhead("clout", 1, days)])
    assert found.chance == near(nobody)


@pytest.mark.parametrize("days", [-60, -61, -300])
def test_no_claim_is_expected_sixty_days_after_an_event(days):
    assert asked(ahead=[EventAhead("clout", 1, days)]).chance == 1


def test_the_band_leaves_out_a_tenth_at_either_end_and_nil_is_enough(monkeypatch):
    ends = iter(range(-100, 900))
    monkeypatch.setattr(module, "_play", lambda known, chance: next(ends))
    found = asked()
    assert (found.chance, found.low, found.high) == (0.9, 0, 800)
    assert found.middle == round((399 + 400) / 2)


def test_what_waits_and_passes_is_taken_from_the_fund():
    found = asked(fund=100, waiting=[30, 20])
    assert (found.low, found.middle, found.high) == (50, 50, 50)


def test_an_event_costs_what_a_child_gets_back_for_each_that_claims():
    certain = {"clout": [4] * 10_000}
    found = asked(children=certain, ahead=[EventAhead("clout", 100, 5), EventAhead("clout", 100, -30)])
    assert found.middle == pytest.approx(-100 * (4 + 2), abs=50)


class TestContainers:
    def brought(self, containers, months=0, month_left=1.0):
        return asked(containers=containers, months=months, month_left=month_left)

    def test_where_none_was_ever_cashed_in_none_is_foreseen(self):
        assert self.brought({}, months=5) == self.brought(dict.fromkeys(range(NOW), 0), months=5)
        assert self.brought({}, months=5).high == 0

    @pytest.mark.parametrize(
        ("months", "month_left", "usual"), [(0, 1.0, 1), (0, 0.25, 0.25), (3, 0.5, 3.5), (2, 0, 2)]
    )
    def test_each_month_ahead_brings_a_past_one_and_the_running_one_its_rest(self, often, months, month_left, usual):
        """A year that brought ten dollars a month: the level is as likely above as below it."""
        past = dict.fromkeys(range(NOW - 12, NOW), 1000)
        assert self.brought(past, months, month_left).middle == pytest.approx(1000 * usual, rel=0.02)

    def test_what_is_drawn_is_of_the_season_a_year_or_two_before(self, often):
        """Of the last two years only the months about this one brought something, or only the others."""
        season = {NOW - 25: 900, NOW - 24: 900, NOW - 23: 900, NOW - 13: 900, NOW - 12: 900, NOW - 11: 900}
        other = dict.fromkeys(range(NOW - 25, NOW), 0)
        this_month = self.brought(other | season)
        assert this_month.low > 0
        assert self.brought(dict.fromkeys(other, 900) | dict.fromkeys(season, 0)).high == 0

    @pytest.mark.parametrize(
        ("back", "found"),
        [(10, False), (11, True), (12, True), (13, True), (14, False), (22, False), (25, True), (26, False)],
    )
    def test_a_month_beside_the_same_of_a_year_or_two_ago_is_of_the_season(self, back, found):
        """The one month that brought something; any other of the season is known to have brought nothing."""
        past = {NOW - 12: 0, NOW - back: 1000} if back != 12 else {NOW - 12: 1000}
        assert (self.brought(past).high > 0) == found

    def test_a_better_year_raises_what_is_foreseen_half_a_year_of_the_same_taken_for_granted(self, often):
        """The last eleven months against those a year before; what is drawn is of the season, ten dollars a month."""
        past = dict.fromkeys(range(NOW - 24, NOW - 10), 1000) | dict.fromkeys(range(NOW - 10, NOW), 2000)
        new, old, mean = 1000 + 10 * 2000, 11 * 1000, (14 * 1000 + 10 * 2000) / 24
        assert self.brought(past).middle == pytest.approx(1000 * (new + 6 * mean) / (old + 6 * mean), rel=0.01)


def test_a_year_that_brings_twice_the_year_before_goes_on_above_it(monkeypatch):
    """Half a year of the usual beside the year of each: (12 of 200 + 6 of 150) to (12 of 100 + 6 of 150) is 11 to 7."""
    monkeypatch.setattr(module, "PLAYS", 2_000)
    before, since = dict.fromkeys(range(NOW - 24, NOW - 12), 100), dict.fromkeys(range(NOW - 12, NOW), 200)
    steady = asked(containers=dict.fromkeys(range(NOW - 24, NOW), 150), months=12).middle
    assert asked(containers=before | since, months=12).middle == pytest.approx(steady * 11 / 7, rel=0.1)
