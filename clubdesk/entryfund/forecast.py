"""Whether the fund will cover the claims of the year: a small simulation, pure, with a fixed seed.

It knows no database. It is told the containers of the past months, how many children claimed at past events, the
events ahead and the claims that wait, and plays the rest of the year many times over.
"""

import math
import random
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

PLAYS = 1000
SEED = 6

# The prior, for a club with little history. Common practice, no source: about five children of a small club enter a
# state event; it weighs as much as one event would. Nine claims in ten are approved, as heavy as ten claims.
PRIOR_CHILDREN = 5.0
PRIOR_EVENTS = 1.0
PRIOR_APPROVED = 9
PRIOR_DECLINED = 1
CLAIMED_WITHIN = 60
"""Days after an event in which its claims usually come in. Common practice, no source."""
BAND = (10, 90)

METHOD = (
    "The method: the containers of the months ahead are drawn a thousand times from the same season of the last two "
    "years, raised or lowered as the last months compare with a year before; each event on the list is asked for by "
    "as many children as came to events of its discipline, give or take what so short a history leaves open; requests "
    "are approved as often as in the past. Events that are not on the list yet, and bags at the club, are not counted."
)


@dataclass(frozen=True)
class EventAhead:
    """An event that will cost the fund: its discipline, what a child gets back in cents, and in how many days it is
    held; below nil for one that was held, of which claims may still come.
    """

    discipline: str
    cents: int
    days: int


@dataclass(frozen=True)
class Known:
    """What the forecast is told. Months count from 0, the month that runs now being `now`; amounts are cents.

    `containers` has an amount for each past month in which the book was kept, nil where nothing was cashed in;
    `month_left` is the part of the running month that is still ahead, from 0 to 1, and `months` how many follow it.
    """

    fund: int
    now: int
    months: int
    month_left: float
    containers: Mapping[int, int] = field(default_factory=dict)
    children: Mapping[str, Sequence[int]] = field(default_factory=dict)
    ahead: Sequence[EventAhead] = ()
    waiting: Sequence[int] = ()
    approved: int = 0
    declined: int = 0


@dataclass(frozen=True)
class Forecast:
    """The chance from 0 to 1 that the fund covers the claims of the year, and what it then holds, in cents.

    `low` and `high` bound the band in which four plays of five end; below nil is what would be missing.
    """

    chance: float
    low: int
    middle: int
    high: int


def forecast(known: Known) -> Forecast:
    """Play the rest of the year `PLAYS` times. The same question gets the same answer."""
    chance = random.Random(SEED)  # noqa: S311 - it draws no secrets
    left = sorted(_play(known, chance) for _ in range(PLAYS))
    low, high = (left[PLAYS * percent // 100] for percent in BAND)
    return Forecast(sum(each >= 0 for each in left) / PLAYS, low, round(statistics.median(left)), high)


def _play(known: Known, chance: random.Random) -> int:
    return known.fund + _brought(known, chance) - _claimed(known, chance)


def _brought(known: Known, chance: random.Random) -> int:
    """What containers bring from now to the year's end."""
    level = _level(known, chance)
    brought = 0.0
    for ahead in range(known.months + 1):
        part = known.month_left if ahead == 0 else 1.0
        brought += part * level * _month_like(known, known.now + ahead, chance)
    return round(brought)


def _month_like(known: Known, month: int, chance: random.Random) -> int:
    """A past month of the same season: the same month of an earlier year or one beside it; else any."""
    past = known.containers
    near = [past[month - back + beside] for back in (12, 24) for beside in (-1, 0, 1) if month - back + beside in past]
    found = near or list(past.values())
    return chance.choice(found) if found else 0


def _level(known: Known, chance: random.Random) -> float:
    """How the last months compare with the same months a year before, drawn from what they leave open."""
    past = known.containers
    pairs = [(past[month], past[month - 12]) for month in past if month - 12 in past and month > known.now - 12]
    now, before = sum(new for new, _ in pairs), sum(old for _, old in pairs)
    # Half a year of the same as before is taken for granted, so that two odd months do not carry the answer away.
    usual = 6 * statistics.fmean(past.values()) if past else 0
    if not now + usual or not before + usual:
        return 1.0
    return (now + usual) / (before + usual) * math.exp(chance.gauss(0, 0.6 / math.sqrt(1 + len(pairs) / 2)))


def _claimed(known: Known, chance: random.Random) -> int:
    """What claims take: those that wait and pass, and those still to come for each event."""
    passes = chance.betavariate(PRIOR_APPROVED + known.approved, PRIOR_DECLINED + known.declined)
    taken = sum(cents for cents in known.waiting if chance.random() < passes)
    mean = {name: _mean_of(known, name, chance) for name in sorted({event.discipline for event in known.ahead})}
    for event in known.ahead:
        still = min(1.0, max(0.0, 1 + event.days / CLAIMED_WITHIN))
        taken += event.cents * _poisson(mean[event.discipline] * passes * still, chance)
    return taken


def _mean_of(known: Known, discipline: str, chance: random.Random) -> float:
    """How many children claim at an event of the discipline: drawn from its own history and that of all."""
    every = [count for counts in known.children.values() for count in counts]
    prior = (PRIOR_CHILDREN * PRIOR_EVENTS + sum(every)) / (PRIOR_EVENTS + len(every))
    own = known.children.get(discipline, ())
    return chance.gammavariate(prior * PRIOR_EVENTS + sum(own), 1 / (PRIOR_EVENTS + len(own)))


def _poisson(mean: float, chance: random.Random) -> int:
    """How often something happens that happens `mean` times on average."""
    count, left = 0, chance.expovariate(1.0)
    while left < mean:
        count, left = count + 1, left + chance.expovariate(1.0)
    return count
