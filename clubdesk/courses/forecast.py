"""How long the wait is likely to be: a small simulation of a course's waitlist, pure, with a fixed seed.

It knows no database. It is told the cohorts, the parties ahead and the club's own habits, and plays the coming
weeks many times over: held places are given up, waiting parties lose interest, what comes free is offered to
the first party that fits, and some offers are not taken. Each play draws the club's habits anew from what its
history leaves open, so that a short history gives wide answers.
"""

import heapq
import itertools
import math
import random
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field

PLAYS = 400
SEED = 16

# The prior, for a club with little history. Common practice, no source: of 16 places booked about six months
# ahead about 12 stay, which is one in four given up over 182 days; offers are taken about as often as places
# are kept. It weighs as much as one cohort of 16 would.
PRIOR_PLACES = 16
PRIOR_STAY = 12
PRIOR_DAYS = 182
PRIOR_RHYTHM = 91
PRIOR_LEAD = 182
FEW = 3
NOT_SET_UP = 2
SOON = 7
PRIOR_IN_WORDS = (
    "Where the club's own history is short, the estimate leans on common practice: of 16 places booked half a year "
    "ahead about 12 are kept, and an offer is taken as often. A month alone stands for a cohort that is not set up yet."
)


@dataclass(frozen=True)
class Habits:
    """What a club's families do: how many gave up, over how many days of holding or waiting, and answered offers.

    `place_days` counts each place for each day it was held or waited for before its first session.
    """

    given_up: int = 0
    place_days: int = 0
    taken: int = 0
    not_taken: int = 0

    def draw(self, chance: random.Random) -> tuple[float, float]:
        """A rate of giving up, a place and day, and a chance that an offer is taken; prior and history together."""
        prior_given_up = PRIOR_PLACES - PRIOR_STAY
        prior_days = prior_given_up / (-math.log(PRIOR_STAY / PRIOR_PLACES) / PRIOR_DAYS)
        rate = chance.gammavariate(prior_given_up + self.given_up, 1 / (prior_days + self.place_days))
        accepts = chance.betavariate(PRIOR_STAY + self.taken, prior_given_up + self.not_taken)
        return rate, accepts


@dataclass(frozen=True)
class CohortAhead:
    """A coming cohort: in how many days it starts, its seats free and held, and the sizes of parties offered some.

    One that is not set up yet has a key below nil, and `opens` in so many days.
    """

    key: int
    days: int
    free: int
    held: int = 0
    offered: Sequence[int] = ()
    opens: int = 0


@dataclass(frozen=True)
class PartyAhead:
    """A waiting party: how many it is, and the cohorts that it can make and is old enough for."""

    key: int
    size: int
    fits: frozenset[int]


def not_set_up_yet(
    starts: Sequence[int], leads: Sequence[int], seats: int, count: int = NOT_SET_UP
) -> list[CohortAhead]:
    """The next cohorts that the club will set up if it keeps its rhythm.

    `starts` are the days from today on which its cohorts of late started or will start (negative: ago), `leads`
    how many days ahead each was set up. Where there are few, four a year and half a year ahead stand for them
    (common practice, no source).
    """
    gaps = [later - earlier for earlier, later in itertools.pairwise(sorted(starts)) if later > earlier]
    rhythm = round(statistics.median(gaps)) if len(gaps) >= FEW else PRIOR_RHYTHM
    known = [lead for lead in leads if lead > 0]
    lead = round(statistics.median(known)) if len(known) >= FEW else PRIOR_LEAD
    last = max([*starts, 0])
    days = [last + rhythm * index for index in range(1, count + 1)]
    return [
        CohortAhead(key=-index, days=day, free=seats, opens=max(day - lead, SOON)) for index, day in enumerate(days, 1)
    ]


@dataclass
class Estimate:
    """In how many of all plays a party, if it goes on waiting, was offered its places in each cohort."""

    plays: int
    reached: dict[int, int] = field(default_factory=dict)

    def chance(self, cohort: int) -> float:
        return self.reached.get(cohort, 0) / self.plays

    @property
    def likeliest(self) -> tuple[int | None, float]:
        """The cohort that came up most and its chance; None where it is likelier to be later than all of them."""
        later = self.plays - sum(self.reached.values())
        cohort = max(self.reached, key=lambda key: self.reached[key], default=None)
        if cohort is None or later > self.reached[cohort]:
            return None, later / self.plays
        return cohort, self.chance(cohort)


def estimates(
    cohorts: Sequence[CohortAhead],
    queue: Sequence[PartyAhead],
    habits: Habits,
    offer_days: int,
    plays: int = PLAYS,
    seed: int = SEED,
) -> dict[int, Estimate]:
    """The estimate of each waiting party, by its key. The chances of a party sum to at most one.

    What is left of one is that it waits beyond the cohorts that are set up. Whether the party itself gives up is
    left out: the chance is what it may expect if it goes on waiting.
    """
    chance = random.Random(seed)  # noqa: S311 - chances, not secrets; a fixed seed gives the same answer each time
    found = {party.key: Estimate(plays) for party in queue}
    for _ in range(plays):
        for party, cohort in _Play(cohorts, queue, habits, offer_days, chance).offers():
            found[party].reached[cohort] = found[party].reached.get(cohort, 0) + 1
    return found


class _Play:
    """One way in which the coming weeks may go."""

    def __init__(
        self,
        cohorts: Sequence[CohortAhead],
        queue: Sequence[PartyAhead],
        habits: Habits,
        offer_days: int,
        chance: random.Random,
    ):
        self.chance, self.offer_days = chance, max(offer_days, 1)
        self.rate, self.accepts = habits.draw(chance)
        self.cohorts = sorted(cohorts, key=lambda each: each.days)
        self.free = {cohort.key: 0 if cohort.opens else cohort.free for cohort in cohorts}
        self.waiting = list(queue)
        self.order = itertools.count()
        self.events: list[tuple[float, int, CohortAhead, int]] = []
        self.reached: list[tuple[int, int]] = []

    def offers(self) -> list[tuple[int, int]]:
        """Which party was offered places in which cohort, if it still waited."""
        for cohort in self.cohorts:
            self._hold(cohort, cohort.held, 0.0)
            if cohort.opens:
                self._later(cohort.opens, cohort, cohort.free)
            for size in cohort.offered:
                self._answer(cohort, size, 0.0)
        self._offer(0.0)
        while self.events:
            when, _, cohort, seats = heapq.heappop(self.events)
            if seats > 0:
                self.free[cohort.key] += seats
                self._offer(when)
            else:
                self._hold(cohort, -seats, when)
        return self.reached

    def _later(self, when: float, cohort: CohortAhead, seats: int) -> None:
        """Seats come free (positive) or are taken up by a party (negative)."""
        heapq.heappush(self.events, (when, next(self.order), cohort, seats))

    def _hold(self, cohort: CohortAhead, places: int, when: float) -> None:
        """Each place would be given up some day, most of them after the start."""
        for _ in range(places):
            given_up = when + self.chance.expovariate(self.rate)
            if given_up < cohort.days:
                self._later(given_up, cohort, 1)

    def _answer(self, cohort: CohortAhead, size: int, when: float) -> None:
        """An offer is taken within its days, or its seats come free again when it lapses."""
        if self.chance.random() < self.accepts:
            answered = min(when + self.chance.uniform(0, self.offer_days), max(cohort.days, when))
            self._later(answered, cohort, -size)
        elif when + self.offer_days < cohort.days:
            self._later(when + self.offer_days, cohort, size)

    def _offer(self, when: float) -> None:
        """Offer what is free, the next cohort first, to the first party that fits and still wants it."""
        for cohort in self.cohorts:
            if cohort.days >= when:
                self._offer_in(cohort, when)

    def _offer_in(self, cohort: CohortAhead, when: float) -> None:
        index = 0
        while self.free[cohort.key] > 0 and index < len(self.waiting):
            party = self.waiting[index]
            if party.size > self.free[cohort.key] or cohort.key not in party.fits:
                index += 1
                continue
            del self.waiting[index]
            self.reached.append((party.key, cohort.key))
            if self.chance.random() < math.exp(-self.rate * when):
                self.free[cohort.key] -= party.size
                self._answer(cohort, party.size, when)
