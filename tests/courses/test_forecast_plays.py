"""The wait estimate where families do the one thing for certain, so that what comes of it can be counted by hand."""

import pytest

from clubdesk.courses.forecast import CohortAhead, Estimate, Habits, PartyAhead, estimate_apart, estimates

OFFER_DAYS = 7
MANY = 10**12
NOBODY_ELSE = {"asked_over": MANY}
STAY = {"place_days": MANY, **NOBODY_ELSE}
"""Nobody gives a place up or loses interest, and no newcomer asks."""
ALL_TAKE = Habits(taken=MANY, **STAY)
NONE_TAKES = Habits(not_taken=MANY, **STAY)
ALL_LEAVE = Habits(given_up=MANY, taken=MANY, **NOBODY_ELSE)
"""Whoever waits or holds a place is gone within a moment."""


def queue(*sizes, fits=(1, 2)):
    return [PartyAhead(number, size, frozenset(fits)) for number, size in enumerate(sizes, 1)]


def reached(cohorts, parties, habits):
    """By party the cohorts in which it was offered places; each in every play or in none."""
    found = estimates(cohorts, parties, habits, OFFER_DAYS, plays=20)
    assert {count for each in found.values() for count in each.reached.values()} <= {20}
    return [sorted(found[party.key].reached) for party in parties]


def test_seats_that_are_free_go_to_the_first_that_fit_and_the_next_cohort_comes_first():
    cohorts = [CohortAhead(key=2, days=90, free=1), CohortAhead(key=1, days=30, free=2)]
    assert reached(cohorts, queue(1, 1, 1, 1), ALL_TAKE) == [[1], [1], [2], []]


def test_a_party_that_is_too_large_or_cannot_make_it_is_passed_over():
    cohorts = [CohortAhead(key=1, days=30, free=2), CohortAhead(key=2, days=90, free=3)]
    large, elsewhere, couple = PartyAhead(1, 3, frozenset((1, 2))), *queue(1, 1, fits=(2,))[1:], queue(1, 1, 2)[2]
    assert reached(cohorts, [large, elsewhere, couple], ALL_TAKE) == [[2], [], [1]]


@pytest.mark.parametrize(("days", "offers"), [(7, 1), (8, 2), (14, 2), (15, 3), (100, 4)])
def test_an_offer_that_nobody_takes_goes_on_every_seven_days_before_the_start(days, offers):
    found = reached([CohortAhead(key=1, days=days, free=1)], queue(1, 1, 1, 1), NONE_TAKES)
    assert found == [[1]] * offers + [[]] * (4 - offers)


@pytest.mark.parametrize(("habits", "found"), [(NONE_TAKES, [[1], []]), (ALL_TAKE, [[], []])])
def test_what_stands_offered_today_comes_free_only_where_it_is_not_taken(habits, found):
    assert reached([CohortAhead(key=1, days=8, free=0, offered=(2,))], queue(2, 1), habits) == found


def test_a_cohort_that_is_set_up_later_offers_its_seats_from_then_on():
    opened = CohortAhead(key=1, days=30, free=2, opens=10)
    assert reached([opened], queue(1, 1, 1), ALL_TAKE) == [[1], [1], []]
    assert reached([opened], queue(1, 1, 1), ALL_LEAVE) == [[1], [1], [1]]  # nobody waits any more, so each might have


def test_places_that_are_given_up_before_the_start_are_offered():
    held = CohortAhead(key=1, days=30, free=0, held=(1, 1))
    assert reached([held], queue(2, 1), Habits(**STAY, taken=MANY)) == [[], []]
    assert reached([held], queue(2), ALL_LEAVE) == [[1]]


def test_on_the_first_day_a_free_seat_is_still_offered():
    assert reached([CohortAhead(key=1, days=0, free=1)], queue(1, 1), ALL_TAKE) == [[1], []]


@pytest.mark.parametrize(
    ("counts", "likeliest"),
    [
        ({}, (None, 1.0)),
        ({1: 4}, (None, 0.6)),
        ({1: 5}, (1, 0.5)),
        ({1: 3, 2: 4}, (2, 0.4)),
        ({1: 3, 2: 3}, (None, 0.4)),
    ],
)
def test_the_likeliest_is_what_came_up_most_later_only_where_it_is_likelier_still(counts, likeliest):
    assert Estimate(10, counts).likeliest == likeliest


def test_a_group_booked_apart_takes_single_seats_and_has_its_places_with_the_last_of_them():
    cohorts = [CohortAhead(key=1, days=30, free=1), CohortAhead(key=2, days=90, free=1)]
    parties = queue(2, 1)
    assert reached(cohorts, parties, ALL_TAKE) == [[], [1]]
    assert estimate_apart(cohorts, parties, 1, ALL_TAKE, OFFER_DAYS, plays=20).reached == {2: 20}
    assert estimate_apart(cohorts[:1], parties, 1, ALL_TAKE, OFFER_DAYS, plays=20).reached == {}


def test_a_newcomer_takes_the_single_seat_that_a_group_does_not_fit():
    many_ask = Habits(taken=MANY, place_days=MANY, asked=(1,) * 1000, asked_over=100)
    cohorts = [CohortAhead(key=1, days=100, free=1), CohortAhead(key=2, days=100, free=2, opens=50)]
    assert reached(cohorts, queue(3, 2), many_ask) == [[], [2]]
