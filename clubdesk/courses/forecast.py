"""How long the wait is likely to be: a small simulation of a course's waitlist, pure, with a fixed seed.

It knows no database. It is told the cohorts, the parties ahead and the club's own habits, and plays the coming
weeks many times over: held places are given up, waiting parties lose interest, what comes free is offered to
the first party that fits, and some offers are not taken. Meanwhile newcomers ask, as often as the club's do: they
take what nobody ahead fits, so that single seats seldom add up to places for a group. Each play draws the club's habits
anew from what its history leaves open, so that a short history gives wide answers.
"""

import heapq
import itertools
import math
import random
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

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
PRIOR_ASKED, PRIOR_ASKED_OVER = 2, 28
"""A club with little history: a family a fortnight asks, for one place (common practice, no source)."""
MOST_NEWCOMERS = 50
"""Beyond the seats that there are; whoever comes after so many reaches none of them."""
FEW = 3
NOT_SET_UP = 2
SOON = 7
NEWCOMER = -1
PRIOR_IN_WORDS = (
    "Where the club's own history is short, the estimate leans on common practice: of 16 places booked half a year "
    "ahead about 12 are kept, an offer is taken as often, and a family a fortnight asks. A month alone stands for a "
    "cohort that is not set up yet."
)


@dataclass(frozen=True)
class Habits:
    """What a club's families do: how many gave up, over how many days of holding or waiting, and answered offers.

    `place_days` counts each place for each day it was held or waited for before its first session. `asked` holds for
    how many places each party asked that came within `asked_over` days.
    """

    given_up: int = 0
    place_days: int = 0
    taken: int = 0
    not_taken: int = 0
    asked: Sequence[int] = ()
    asked_over: int = 0

    def draw(self, chance: random.Random) -> tuple[float, float, float]:
        """A rate of giving up, a place and day, a chance that an offer is taken, and a rate of parties that ask, a day;
        prior and history together.
        """
        prior_given_up = PRIOR_PLACES - PRIOR_STAY
        prior_days = prior_given_up / (-math.log(PRIOR_STAY / PRIOR_PLACES) / PRIOR_DAYS)
        rate = chance.gammavariate(prior_given_up + self.given_up, 1 / (prior_days + self.place_days))
        accepts = chance.betavariate(PRIOR_STAY + self.taken, prior_given_up + self.not_taken)
        asks = chance.gammavariate(PRIOR_ASKED + len(self.asked), 1 / (PRIOR_ASKED_OVER + self.asked_over))
        return rate, accepts, asks


@dataclass(frozen=True)
class CohortAhead:
    """A coming cohort: in how many days it starts, its free seats, and the sizes of parties that hold or are offered.

    One that is not set up yet has a key below nil, and `opens` in so many days.
    """

    key: int
    days: int
    free: int
    held: Sequence[int] = ()
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


def estimate_apart(
    cohorts: Sequence[CohortAhead],
    queue: Sequence[PartyAhead],
    party: int,
    habits: Habits,
    offer_days: int,
    plays: int = PLAYS,
    seed: int = SEED,
) -> Estimate:
    """What a waiting party may expect if its people were offered places one by one, each at the party's turn: in how
    many plays the last of them was offered a place in each cohort.
    """
    chance = random.Random(seed)  # noqa: S311 - chances, not secrets; a fixed seed gives the same answer each time
    found, days = Estimate(plays), {cohort.key: cohort.days for cohort in cohorts}
    each = next(waiting for waiting in queue if waiting.key == party)
    split: list[PartyAhead] = []
    for waiting in queue:
        split += [replace(waiting, size=1)] * waiting.size if waiting is each else [waiting]
    for _ in range(plays):
        own = [cohort for key, cohort in _Play(cohorts, split, habits, offer_days, chance).offers() if key == party]
        if len(own) == each.size:
            last = max(own, key=lambda cohort: days[cohort])
            found.reached[last] = found.reached.get(last, 0) + 1
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
        self.rate, self.accepts, self.asks = habits.draw(chance)
        self.sizes = habits.asked or (1,)
        self.cohorts = sorted(cohorts, key=lambda each: each.days)
        self.free = {cohort.key: 0 if cohort.opens else cohort.free for cohort in cohorts}
        self.waiting = list(queue)
        self.everywhere = frozenset(self.free)
        self.order = itertools.count()
        self.events: list[tuple[float, int, CohortAhead | None, int]] = []
        self.reached: list[tuple[int, int]] = []
        self.came: dict[int, float] = {}

    def offers(self) -> list[tuple[int, int]]:
        """Which party was offered places in which cohort, if it still waited."""
        for each in self.cohorts:
            for size in each.held:
                self._hold(each, size, 0.0)
            if each.opens:
                self._later(each.opens, each, each.free)
            for size in each.offered:
                self._answer(each, size, 0.0)
        self._newcomers()
        self._offer(0.0)
        while self.events:
            when, _, cohort, seats = heapq.heappop(self.events)
            if cohort is None:
                self._ask(seats, when)
            elif seats > 0:
                self.free[cohort.key] += seats
                self._offer(when)
            else:
                self._hold(cohort, -seats, when)
        return self.reached

    def _newcomers(self) -> None:
        """When each asks until the last cohort begins, and for how many places."""
        last, when = max((cohort.days for cohort in self.cohorts), default=0), 0.0
        for _ in range(sum(cohort.free + sum(cohort.held) for cohort in self.cohorts) + MOST_NEWCOMERS):
            when += self.chance.expovariate(self.asks)
            if when >= last:
                return
            self._later(when, None, self.chance.choice(self.sizes))

    def _ask(self, size: int, when: float) -> None:
        """A newcomer has places at once where they are free, since nobody who waits fits them, or waits as the last."""
        for cohort in self.cohorts:
            if cohort.days >= when and self.free[cohort.key] >= size:
                self.free[cohort.key] -= size
                self._hold(cohort, size, when)
                return
        newcomer = PartyAhead(NEWCOMER - len(self.came), size, self.everywhere)
        self.came[newcomer.key] = when
        self.waiting.append(newcomer)

    def _later(self, when: float, cohort: CohortAhead | None, seats: int) -> None:
        """Seats come free (positive) or a party takes them (negative); without a cohort, somebody asks for them."""
        heapq.heappush(self.events, (when, next(self.order), cohort, seats))

    def _hold(self, cohort: CohortAhead, places: int, when: float) -> None:
        """A party would give its places up some day, all together, and most parties after the start."""
        given_up = when + self.chance.expovariate(self.rate)
        if given_up < cohort.days:
            self._later(given_up, cohort, places)

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
            came = self.came.get(party.key)
            if came is None:
                self.reached.append((party.key, cohort.key))
            if self.chance.random() < math.exp(-self.rate * (when - (came or 0.0))):
                self.free[cohort.key] -= party.size
                self._answer(cohort, party.size, when)
