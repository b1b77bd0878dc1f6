"""The wait estimate against a generated history that it knows nothing of: are its stated chances true?"""

import random
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta

import pytest

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.forecast import CohortAhead, Habits, PartyAhead, estimates, not_set_up_yet
from tests import factories

YEARS, SEATS, CADENCE, SET_UP_AHEAD, OFFER_DAYS = 5, 16, 91, 300, 7


@dataclass
class Family:
    """A party of the generated club, with habits of its own that the estimate is never told."""

    number: int
    size: int
    gives_up_a_day: float
    accepts: float
    asked: int
    offered_in: int | None = None
    gave_up: bool = False


@dataclass
class Club:
    """Five years of a course, day by day: four cohorts of 16 a year, families that ask, give up, answer or not.

    Every other club sets a whole year's cohorts up at once, the others each one so many days ahead. Written apart
    from the estimate, with a plain loop over days; families differ from each other.
    """

    seed: int
    sizes: tuple[int, ...] = (1, 1, 1, 1, 2)
    asks_a_day: float = 0.28
    came: list[int] = field(default_factory=list)
    waiting: list[Family] = field(default_factory=list)
    held: dict[int, list[Family]] = field(default_factory=lambda: defaultdict(list))
    offers: dict[int, list[tuple[Family, int]]] = field(default_factory=lambda: defaultdict(list))
    given_up: int = 0
    place_days: int = 0
    taken: int = 0
    not_taken: int = 0
    asked: int = 0

    def __post_init__(self):
        self.chance = random.Random(self.seed)
        self.starts = [60 + CADENCE * index + self.chance.randint(-12, 12) for index in range(YEARS * 4 + 4)]
        one_by_one = {start: start - SET_UP_AHEAD + self.chance.randint(-25, 25) for start in self.starts}
        by_year = {start: (start - 45) // 365 * 365 - 30 for start in self.starts}
        self.set_up = by_year if self.seed % 2 else one_by_one

    def cohorts(self, day):
        return [start for start in self.starts if self.set_up[start] <= day < start]

    def free(self, start):
        return SEATS - sum(each.size for each in self.held[start]) - sum(each.size for each, _ in self.offers[start])

    def live(self, day):
        for start in self.cohorts(day):
            for family in list(self.held[start]):
                self.place_days += family.size
                if self.chance.random() < family.gives_up_a_day:
                    self.held[start].remove(family)
                    self.given_up += family.size
            for family, since in list(self.offers[start]):
                if day - since >= OFFER_DAYS:
                    self.offers[start].remove((family, since))
                    self.not_taken += 1
                elif self.chance.random() < family.accepts / OFFER_DAYS:
                    self.offers[start].remove((family, since))
                    self.held[start].append(family)
                    self.taken += 1
        for family in self.waiting:
            if not family.gave_up:
                self.place_days += family.size
                if self.chance.random() < family.gives_up_a_day:
                    family.gave_up = True
                    self.given_up += family.size
        self.offer(day)
        if self.chance.random() < self.asks_a_day:
            self.ask(day)

    def ask(self, day):
        self.asked += 1
        size = self.chance.choice(self.sizes)
        self.came.append(size)
        rate = self.chance.gammavariate(2, 0.0008)
        family = Family(self.asked, size, rate, self.chance.uniform(1.0, 3.0), day)
        for start in self.cohorts(day):
            if self.free(start) >= size:
                self.held[start].append(family)
                return
        self.waiting.append(family)

    def offer(self, day):
        """Who has given up keeps a shadow in the queue, to know what it would have been offered; it takes no seat."""
        for start in self.cohorts(day):
            for family in list(self.waiting):
                if family.size <= self.free(start):
                    self.waiting.remove(family)
                    family.offered_in = start
                    if not family.gave_up:
                        self.offers[start].append((family, day))

    def queue(self):
        return [family for family in self.waiting if not family.gave_up]

    def stated(self, day, plays=200, plainly=False):
        """What the estimate says on a day, from what a coordinator would know then.

        Put `plainly` nobody else asks, and of a party that holds places each gives up for itself.
        """
        starts = self.cohorts(day)
        ahead = [
            CohortAhead(
                key=start,
                days=start - day,
                free=self.free(start),
                held=[part for each in self.held[start] for part in ([1] * each.size if plainly else [each.size])],
                offered=[each.size for each, _ in self.offers[start]],
            )
            for start in starts
        ]
        known = [start for start in self.starts if self.set_up[start] <= day and start > day - 730]
        leads = [start - self.set_up[start] for start in known]
        ahead += not_set_up_yet([start - day for start in known], leads, SEATS)
        everywhere = frozenset(each.key for each in ahead)
        queue = [PartyAhead(each.number, each.size, everywhere) for each in self.queue()]
        asked = ((), 10**12) if plainly else (self.came, day)
        habits = Habits(self.given_up, self.place_days, self.taken, self.not_taken, *asked)
        return estimates(ahead, queue, habits, OFFER_DAYS, plays=plays)

    def naive(self, day):
        """Position over capacity: the free seats of each coming cohort, filled in order of arrival."""
        seats, said = 0, {}
        room = [(start, self.free(start)) for start in self.cohorts(day)]
        for family in self.queue():
            seats += family.size
            total, said[family.number] = 0, None
            for start, free in room:
                total += free
                if seats <= total:
                    said[family.number] = start
                    break
            else:
                # All are full now: so many cohorts of 16 further on.
                index = (seats - total - 1) // SEATS
                said[family.number] = room[index][0] if index < len(room) else None
        return said


@pytest.fixture(scope="module")
def history():
    """Each stated chance (of places in a cohort, or later than those set up), the naive rule's, and what came of it."""
    found = []
    for seed in range(6):
        club, asked = Club(seed), []
        for day in range(YEARS * 365):
            club.live(day)
            if day >= 365 and day % 30 == 0 and day < YEARS * 365 - SET_UP_AHEAD:
                asked.append((club.cohorts(day), club.queue(), club.stated(day), club.naive(day)))
        for starts, families, stated, naive in asked:
            for family in families:
                for start in starts:
                    said = stated[family.number].chance(start), float(naive[family.number] == start)
                    found.append((*said, float(family.offered_in == start)))
                later = 1 - sum(stated[family.number].chance(start) for start in starts)
                found.append((later, float(naive[family.number] is None), float(family.offered_in not in starts)))
    return found


GROUPS = (1, 1, 1, 1, 2, 2, 3, 4)


@pytest.fixture(scope="module")
def groups():
    """By the size of a party: each stated chance, the one that is put plainly, and what came of it."""
    found = defaultdict(list)
    for seed in range(4):
        club, asked = Club(seed, GROUPS, asks_a_day=1 / 7 if seed % 2 else 0.2), []
        for day in range(YEARS * 365):
            club.live(day)
            if day >= 365 and day % 40 == 0 and day < YEARS * 365 - SET_UP_AHEAD:
                both = [club.stated(day, 80, plainly) for plainly in (False, True)]
                asked.append((club.cohorts(day), club.queue(), *both))
        for starts, families, now, before in asked:
            for family in families:
                for start in starts:
                    said = [each[family.number].chance(start) for each in (now, before)]
                    found[family.size].append((*said, float(family.offered_in == start)))
    return found


def test_chances_of_groups_are_calibrated_where_many_wait(groups):
    print()
    for size in (1, 2, 3, 4):
        said, came = told(f"group of {size}, many wait", groups[size])
        assert len(groups[size]) > 400
        assert abs(said - came) < 0.05


class LoneGroup:
    """A full cohort, one group that waits, and a newcomer a week who takes a single place; told day by day."""

    def __init__(self, seed, size):
        self.chance, self.size = random.Random(seed * 10 + size), size
        self.rate = Habits().draw(self.chance)[0]
        self.days, self.held = self.chance.randint(60, 240), self.chance.randint(10, 16)

    def stated(self, newcomers):
        asked = ([1] * 52, 364) if newcomers else ((), 10**12)
        ahead = [CohortAhead(key=1, days=self.days, free=0, held=[1] * self.held)]
        queue = [PartyAhead(1, self.size, frozenset((1,)))]
        found = estimates(ahead, queue, Habits(asked=asked[0], asked_over=asked[1]), OFFER_DAYS, plays=150)
        return found[1].chance(1)

    def is_offered(self):
        held, free, singles = self.held, 0, 0
        for _ in range(self.days):
            left = sum(self.chance.random() < self.rate for _ in range(held))
            held, free = held - left, free + left
            if free >= self.size:
                return True
            singles += self.chance.random() < 1 / 7
            taken = min(singles, free)
            held, free, singles = held + taken, free - taken, singles - taken
        return False


def test_newcomers_who_take_single_places_leave_a_group_less_than_it_would_hope_for():
    print()
    for size in (2, 3, 4):
        clubs = [LoneGroup(seed, size) for seed in range(150)]
        rows = [(club.stated(True), club.stated(False), float(club.is_offered())) for club in clubs]
        said, came = told(f"one group of {size} waits", rows)
        assert abs(said - came) < 0.08
        assert brier((row[0], row[2]) for row in rows) < brier((row[1], row[2]) for row in rows)


def told(what, rows):
    """Print what was stated now and plainly, and what came; returns the mean stated now, and what came."""
    now, plainly = (brier((row[index], row[2]) for row in rows) for index in (0, 1))
    said, said_plainly, came = (sum(row[index] for row in rows) / len(rows) for index in range(3))
    print(
        f"  {what}: stated {said:.3f} (plainly {said_plainly:.3f}), came {came:.3f}; "
        f"Brier score {now:.3f} (plainly {plainly:.3f}), of {len(rows)}"
    )
    return said, came


def brier(pairs):
    """Brier's score: the mean squared difference of stated chance and outcome. Source: G. W. Brier, Verification of
    forecasts expressed in terms of probability, Monthly Weather Review 78 (1950), for two classes, halved."""
    pairs = list(pairs)
    return sum((stated - outcome) ** 2 for stated, outcome in pairs) / len(pairs)


def test_the_score_is_briers():
    # 0 where every forecast is certain and right, 1 where each is certain and wrong, 0.25 for “fifty-fifty” always.
    assert brier([(1, 1), (0, 0)]) == 0
    assert brier([(1, 0), (0, 1)]) == 1
    assert brier([(0.5, 1), (0.5, 0)]) == 0.25


def test_the_estimate_beats_position_over_capacity(history):
    ours = brier((stated, outcome) for stated, _, outcome in history)
    naive = brier((said, outcome) for _, said, outcome in history)
    always_the_mean = sum(outcome for *_, outcome in history) / len(history)
    constant = brier((always_the_mean, outcome) for *_, outcome in history)
    print(f"\n  Brier score {ours:.3f}; position over capacity {naive:.3f}; always the mean {constant:.3f}")
    assert len(history) > 1500
    assert ours < naive
    assert ours < constant


def test_its_stated_chances_are_calibrated(history):
    bins = defaultdict(list)
    for stated, _, outcome in history:
        bins[min(int(stated * 5), 4)].append((stated, outcome))
    assert len([pairs for pairs in bins.values() if len(pairs) >= 100]) == 5
    for index, pairs in sorted(bins.items()):
        said = sum(stated for stated, _ in pairs) / len(pairs)
        came = sum(outcome for _, outcome in pairs) / len(pairs)
        print(f"  stated {said:.2f}, came true {came:.2f}, of {len(pairs)}")
        if len(pairs) >= 100:
            assert abs(said - came) < 0.12, index


def test_sixteen_seats_of_which_twelve_stay_are_booked_out_half_a_year_ahead():
    # Common practice, no source: 16 seats, four cohorts a year, of 16 about 12 stay, booked out about six months
    # ahead. Two cohorts are full and the third, half a year away, still has seats for those who ask now.
    cohorts = [
        CohortAhead(key=1, days=30, free=0, held=[1] * 16),
        CohortAhead(key=2, days=121, free=0, held=[1] * 16),
        CohortAhead(key=3, days=212, free=4, held=[1] * 12),
        CohortAhead(key=4, days=303, free=16),
    ]
    everywhere = frozenset((1, 2, 3, 4))
    queue = [PartyAhead(number, 1, everywhere) for number in range(1, 13)]
    found = estimates(cohorts, queue, Habits(), OFFER_DAYS)
    assert [found[number].likeliest[0] for number in (1, 4)] == [3, 3]
    assert found[12].likeliest[0] == 4
    # The prior alone: of 16 places held for half a year about 12 are kept.
    chance = random.Random(16)
    kept = [2.718281828459045 ** (-Habits().draw(chance)[0] * 182) * 16 for _ in range(4000)]
    assert 11 < sum(kept) / len(kept) < 13


def test_the_chances_of_a_party_never_come_to_more_than_one_and_the_first_stands_best():
    cohorts = [CohortAhead(key=1, days=40, free=0, held=[1] * 14), CohortAhead(key=2, days=130, free=2, held=[1] * 12)]
    queue = [PartyAhead(number, 1, frozenset((1, 2))) for number in range(1, 9)]
    found = estimates(cohorts, queue, Habits(), OFFER_DAYS)
    sums = [sum(found[number].chance(key) for key in (1, 2)) for number in range(1, 9)]
    assert all(0 <= each <= 1 for each in sums)
    assert sums == sorted(sums, reverse=True)


def test_the_same_book_gives_the_same_answer():
    cohorts = [CohortAhead(key=1, days=40, free=1, held=[1] * 13, offered=(2,))]
    queue = [PartyAhead(1, 2, frozenset((1,))), PartyAhead(2, 1, frozenset())]
    first, second = (estimates(cohorts, queue, Habits(3, 900, 5, 2), 7) for _ in range(2))
    assert {key: each.reached for key, each in first.items()} == {key: each.reached for key, each in second.items()}
    assert first[2].likeliest == (None, 1.0)


def test_cohorts_that_are_not_set_up_yet_keep_the_clubs_rhythm():
    ahead = not_set_up_yet([-200, -100, 0, 100], [150, 160, 140], seats=14)
    assert [(each.days, each.opens, each.free) for each in ahead] == [(200, 50, 14), (300, 150, 14)]
    # Common practice, no source: four cohorts a year; set up half a year ahead.
    assert [each.days for each in not_set_up_yet([40], [], seats=16)] == [131, 222]


@pytest.mark.django_db
def test_the_clubs_own_habits_are_counted_from_its_documents(book, by):
    start = date(2026, 7, 6)
    clock.set_today(start)
    cohort = factories.cohort(capacity=2, first=date(2026, 10, 4))
    places = [services.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=start) for _ in range(5)]
    services.withdraw_place(place=places[0], on=start + timedelta(days=10), reason="ill", by=by)  # offered to no. 3
    services.lapse_offers(on=start + timedelta(days=18), by=by)  # lapsed, offered to no. 4
    services.accept_offer(booking=places[3].booking, on=start + timedelta(days=20), by=by)
    services.withdraw_place(place=places[4], on=start + timedelta(days=30), reason="moved", by=by)  # while waiting
    habits = selectors.habits(cohort.course, start + timedelta(days=40))
    # Ten days held, 40 held, 18 until the offer lapsed, 40 waited and held, 30 waited.
    assert habits == Habits(2, 10 + 40 + 18 + 40 + 30, taken=1, not_taken=1, asked=(1,) * 5, asked_over=40)


@pytest.mark.django_db
def test_the_coordinator_reads_the_likely_cohort_and_its_chance(book, by):
    cohort = factories.cohort(capacity=2, first=date(2026, 10, 4))
    for _ in range(3):
        place = services.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=date(2026, 9, 12))
    later = factories.cohort(capacity=2, first=date(2027, 2, 7))
    services.change_cohorts(booking=place.booking, cannot_make=[later], on=date(2026, 9, 12), by=by)
    waits = selectors.wait_estimates(cohort.course, date(2026, 9, 12))
    words = waits.in_words(place.booking.pk)
    assert words.startswith("most likely about May 2027 (")
    assert words.endswith(" %)")
    assert waits.in_words(selectors.JOINING_NOW) == "most likely From 2027-02-07 (over 99 %)"
