"""Which vouchers to set against which fees of a child so that least is forgone: exact, by enumeration, no database.

A voucher pays at most its worth and at most what the fee has room for; what is beyond that is forgone. Source of the
rule: a state's published programme terms (a fee below the voucher's value claims only the fee).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations, combinations_with_replacement, product
from math import comb, prod

MOST_VOUCHERS, MOST_FEES, MOST_WAYS = 6, 8, 20_000
"""Beyond so many of a child, or so many ways to set them, nothing is reckoned and nothing said."""


@dataclass(frozen=True)
class Held:
    """Vouchers of one scheme that a child may still use, each of `worth` cents.

    `only_unpaid`: they pay only what of a fee is open. `one_a_fee`: no two of them pay the same fee.
    """

    scheme: int
    worth: int
    count: int = 1
    only_unpaid: bool = False
    one_a_fee: bool = False


@dataclass(frozen=True)
class Fee:
    """A fee due on a day, in cents: what is `open`, and what a voucher may pay of it where it may also take the place
    of what was paid (`whole`, never less). `schemes` are those that may pay it.
    """

    due: date
    open: int
    whole: int
    schemes: frozenset[int]


@dataclass(frozen=True)
class Use:
    """One voucher of the scheme, set against the fee at that place of the list, pays so many cents of it."""

    scheme: int
    worth: int
    fee: int
    pays: int


@dataclass(frozen=True)
class BestUse:
    """The vouchers as they are best set, in the order in which they are taken; who is in none is kept."""

    uses: tuple[Use, ...] = ()

    @property
    def paid(self) -> int:
        """What the vouchers pay, in cents."""
        return sum(use.pays for use in self.uses)

    @property
    def forgone(self) -> int:
        """What those that are used are worth beyond what they pay, in cents."""
        return sum(use.worth for use in self.uses) - self.paid


def best(vouchers: Sequence[Held], fees: Sequence[Fee]) -> BestUse | None:
    """How the vouchers pay most of the fees; of such ways, that which forgoes least: what is not needed is kept.

    Where that is the same, most is paid of the fee due first, then of that named first. Vouchers that pay only what is
    open are taken first, since others may make room by what was paid. None where it is too much to try.
    """
    order = sorted(vouchers, key=lambda held: not held.only_unpaid)
    allowed = [[place for place, fee in enumerate(fees) if held.scheme in fee.schemes] for held in order]
    if sum(held.count for held in order) > MOST_VOUCHERS or len(fees) > MOST_FEES:
        return None
    if prod(_how_many(held, len(places)) for held, places in zip(order, allowed, strict=True)) > MOST_WAYS:
        return None
    by_day = sorted(range(len(fees)), key=lambda place: fees[place].due)
    found, least = BestUse(), _cost(BestUse(), by_day)
    for way in product(*(list(_ways(held, places)) for held, places in zip(order, allowed, strict=True))):
        tried = _set(order, way, fees)
        if (cost := _cost(tried, by_day)) < least:
            found, least = tried, cost
    return found


def _ways(held: Held, places: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """The fees that vouchers alike may be set against, none of them or more; a fee twice where two may pay it."""
    choose = combinations if held.one_a_fee else combinations_with_replacement
    for count in range(held.count + 1):
        yield from choose(places, count)


def _how_many(held: Held, places: int) -> int:
    if held.one_a_fee:
        return sum(comb(places, count) for count in range(held.count + 1))
    return comb(places + held.count, held.count)


def _set(order: Sequence[Held], way: Sequence[tuple[int, ...]], fees: Sequence[Fee]) -> BestUse:
    """What comes of one way; a voucher that pays nothing forgoes all it is worth, so that to keep it is better."""
    unpaid, whole = [fee.open for fee in fees], [fee.whole for fee in fees]
    uses = []
    for held, places in zip(order, way, strict=True):
        for place in places:
            pays = min(held.worth, unpaid[place] if held.only_unpaid else whole[place])
            unpaid[place], whole[place] = unpaid[place] - pays, whole[place] - pays
            uses.append(Use(held.scheme, held.worth, place, pays))
    return BestUse(tuple(uses))


def _cost(use: BestUse, by_day: Sequence[int]) -> tuple[int, int, tuple[int, ...]]:
    """What is the least of the best."""
    each = dict.fromkeys(by_day, 0)
    for one in use.uses:
        each[one.fee] += one.pays
    return -use.paid, use.forgone, tuple(-each[place] for place in by_day)
