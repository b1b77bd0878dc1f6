"""Three plans of membership, told plainly: for whom, for how long, at what price, and whose part of it is whose."""

from dataclasses import dataclass
from datetime import date, timedelta

CAP = 45_000


def months_on(day, months):
    month = day.month - 1 + months
    year, month = day.year + month // 12, month % 12 + 1
    for number in (day.day, 30, 29, 28):
        try:
            return date(year, month, number)
        except ValueError:
            continue
    raise AssertionError


def whole_months(first, last):
    """How many lie between the two days, both included."""
    count = 0
    while months_on(first, count + 1) - timedelta(days=1) <= last:
        count += 1
    return count


def part_of(cents, months, of_months):
    return (cents * months * 2 + of_months) // (of_months * 2) if of_months else 0


@dataclass(frozen=True, eq=False)
class Plan:
    """`whole_shares`: associations take all of theirs, however few the months."""

    name: str
    months: int
    prices: tuple
    shares: dict
    whole_shares: bool = False
    sibling_percent: int = 0
    youngest: int = 0
    oldest: int = 99
    gives_back: bool = False
    notice: int = 30
    grace: int = 30

    def __reduce__(self):
        return plan_of, (self.name,)

    def price(self, day):
        return max((since, cents) for since, cents in self.prices if since <= day)[1]

    def shares_of(self, months):
        if self.whole_shares:
            return dict(self.shares)
        return {name: part_of(share, months, self.months) for name, share in self.shares.items()}

    def is_for(self, child, day):
        return self.youngest <= child.age(day) <= self.oldest


LONG_AGO = date(2020, 1, 1)
JUNIOR = Plan(
    "Junior", 12, ((LONG_AGO, 22_801), (date(2027, 7, 1), 24_050)), {"state": 7_134, "national": 4_500},
    sibling_percent=25, oldest=17, gives_back=True,
)  # fmt: skip
OPEN = Plan("Open", 12, ((LONG_AGO, 31_400),), {"state": 9_001, "national": 4_500}, whole_shares=True, youngest=9)
HALF = Plan(
    "Half a year", 6, ((LONG_AGO, 11_999),), {"state": 3_567}, sibling_percent=10, gives_back=True, notice=14, grace=10,
)  # fmt: skip
PLANS = (JUNIOR, OPEN, HALF)


def plan_of(name):
    """A copy of the club has the same plans."""
    return next(plan for plan in PLANS if plan.name == name)
