"""How many are likely to come to a range day, and how much kit they will want: read from the days before it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor
from typing import Any

from django.db.models import Count, Q, QuerySet

from clubdesk.rangeday.models import Hand, Kit, KitKind, KitLoan, KitState, RangeDay

WEIGHT = 0.1
"""What the latest day counts for beside all before it; found on the generated seasons of the tests."""
FEWEST, MOST_DAYS = 4, 60
LEAST_BAND, MOST_BAND = 0.1, 0.9
METHOD = "From the days before, the latest counting most; eight of ten of them lay between the two."


@dataclass(frozen=True)
class Band:
    """What is expected, and between what eight of ten such days lay; whole people or pieces."""

    likely: int
    least: int
    most: int

    def __str__(self) -> str:
        return str(self.least) if self.least == self.most else f"{self.least} to {self.most}"


@dataclass(frozen=True)
class Expecting:
    """Of a range day: who is likely to come; of each kind of kit how many pieces will be asked for, and are there."""

    people: Band | None
    kit: list[tuple[KitKind, Band, int]]


def expecting(day: RangeDay) -> Expecting:
    """What the days before it let expect; nothing where there are fewer than four of its weekday at its range."""
    came = came_to_days_alike(day)
    days = list(came)
    if len(days) < FEWEST:
        return Expecting(None, [])
    return Expecting(
        band(list(came.values())), [(kind, wanted, there) for (kind,), wanted, there in _asked(days, "kind")]
    )


@dataclass(frozen=True)
class Gear:
    """Of one kind and hand: how many pieces will be asked for, and how many are fit for use."""

    kind: KitKind
    hand: Hand | None
    wanted: Band
    there: int

    @property
    def lacking(self) -> int:
        """How many too few there are on the fullest of such days."""
        return max(0, self.wanted.most - self.there)


def gear_needed(day: RangeDay) -> list[Gear]:
    """Kit by kind and hand, as it was lent on days alike; nothing where there are fewer than four of them."""
    days = list(came_to_days_alike(day))
    if len(days) < FEWEST:
        return []
    return [
        Gear(kind, Hand(hand) if hand else None, wanted, there)
        for (kind, hand), wanted, there in _asked(days, "kind", "hand")
    ]


def _asked(days: Sequence[int], *by: str) -> list[tuple[tuple[Any, ...], Band, int]]:
    """By what columns of kit say: how many pieces of it are likely to be asked for, and how many are fit for use."""
    lent: dict[tuple[Any, ...], dict[int, int]] = defaultdict(dict)
    loans = KitLoan.objects.filter(sign_on__range_day__in=days, sign_on__cancelled_on=None).order_by()
    columns = [f"kit__{each}" for each in by]
    for *of, pk, count in loans.values_list(*columns, "sign_on__range_day").annotate(Count("pk")):
        lent[tuple(of)][pk] = count
    fit = Kit.objects.filter(state=KitState.USABLE).order_by().values_list(*by).annotate(Count("pk"))
    there = {tuple(of): count for *of, count in fit}
    found = []
    for of in sorted(lent, key=lambda each: (list(KitKind).index(KitKind(each[0])), each)):
        wanted = band([lent[of].get(pk, 0) for pk in days])
        found.append(((KitKind(of[0]), *of[1:]), wanted, there.get(of, 0)))
    return found


@dataclass(frozen=True)
class Tried:
    """How far the forecast of each day was off on average, in people, and “as many as the time before” beside it."""

    days: int
    ours: float
    as_before: float


def tried(counts: Sequence[int]) -> Tried | None:
    """The forecast made for each day by the days before it alone, beside who came; None where there are too few."""
    levels = smoothed(counts)
    pairs = list(zip(levels[FEWEST - 1 :], counts[FEWEST - 1 :], counts[FEWEST:], strict=False))
    if not pairs:
        return None
    ours = sum(abs(level - came) for level, _, came in pairs) / len(pairs)
    return Tried(len(pairs), ours, sum(abs(before - came) for _, before, came in pairs) / len(pairs))


def came_to_days_alike(day: RangeDay) -> dict[int, int]:
    """The days of that weekday at that range that were held before it, the earliest first: their ids, and who came."""
    came = Count("sign_ons", filter=Q(sign_ons__cancelled_on=None))
    return dict(reversed(latest_alike(day).annotate(came=came).values_list("pk", "came")[:MOST_DAYS]))


def latest_alike(day: RangeDay) -> QuerySet[RangeDay]:
    """These days, the latest first."""
    before = RangeDay.objects.filter(
        date__lt=day.date, place=day.place, called_off_on=None, date__iso_week_day=day.date.isoweekday()
    )
    return before.order_by("-date")


def band(counts: Sequence[int]) -> Band:
    """What comes next in a row of counts, by simple exponential smoothing, with a band from its own past errors.

    Source: R. Hyndman and G. Athanasopoulos, Forecasting: Principles and Practice (3rd ed.), 8.1 and 5.5.
    """
    levels = smoothed(counts)
    errors = sorted(count - level for level, count in zip(levels[FEWEST - 1 :], counts[FEWEST:], strict=False)) or [0.0]
    likely = levels[-1]
    least, most = (round(likely + _quantile(errors, share), 6) for share in (LEAST_BAND, MOST_BAND))
    return Band(round(likely), max(0, min(floor(least), round(likely))), max(ceil(most), round(likely)))


def smoothed(counts: Sequence[int]) -> list[float]:
    """After each count, what is expected of the next: all so far, each weighing a tenth less than the one after it."""
    levels: list[float] = []
    above = below = 0.0
    for count in counts:
        above, below = above * (1 - WEIGHT) + count, below * (1 - WEIGHT) + 1
        levels.append(above / below)
    return levels


def _quantile(ordered: Sequence[float], share: float) -> float:
    """By straight lines between the ordered figures."""
    place = share * (len(ordered) - 1)
    if len(ordered) == 1:
        return ordered[0]
    for number, (low, high) in enumerate(pairwise(ordered)):
        if place <= number + 1:
            return low + (high - low) * (place - number)
    return ordered[-1]
