"""What a membership costs a household, with its working: pure functions, no database.

The order of discounts is fixed: whole months, then the sibling discount, then the family cap, then a voucher. Discounts
come off the club's own part and never reach into what the associations get. Half a cent goes up.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from clubdesk.money import half_up, shown

NIL = Decimal(0)


def part_of(amount: Decimal, months: int, of_months: int) -> Decimal:
    """What `months` of `of_months` come to; half a cent goes up. Nothing of no months."""
    return half_up(amount * months / of_months) if of_months else NIL


@dataclass(frozen=True)
class Asked:
    """One person's membership of one plan from one day. Amounts are in the book's currency.

    `full` is the price of the whole term of `of_months`, `shares` what the associations get of it. A short season has
    fewer `months`; `whole_shares` where the associations take their whole share all the same. `siblings` of the
    household come first at the full price. `paid_before` is what the household's other memberships of these twelve
    months come to, which together stay within `cap`. A `voucher` pays at most what is left.
    """

    full: Decimal
    shares: Sequence[Decimal] = ()
    months: int = 12
    of_months: int = 12
    whole_shares: bool = False
    siblings: int = 0
    sibling_percent: int = 0
    paid_before: Decimal = NIL
    cap: Decimal | None = None
    voucher: Decimal = NIL


@dataclass(frozen=True)
class Price:
    """What it comes to: `fee` is charged, each association gets its share of it, `to_pay` is left after a voucher."""

    full: Decimal
    by_months: Decimal
    months: int
    of_months: int
    sibling: Decimal
    capped: Decimal
    voucher: Decimal
    shares: tuple[Decimal, ...]

    @property
    def fee(self) -> Decimal:
        return self.by_months - self.sibling - self.capped

    @property
    def to_pay(self) -> Decimal:
        return self.fee - self.voucher

    @property
    def working(self) -> str:
        """“$228.00, less sibling $11.20, less voucher $100.00 = $116.80”."""
        start = shown(self.full)
        if self.months != self.of_months:
            start = f"{self.months} of {self.of_months} months of {start}: {shown(self.by_months)}"
        less = [("sibling", self.sibling), ("family cap", self.capped), ("voucher", self.voucher)]
        steps = [f"less {name} {shown(amount)}" for name, amount in less if amount]
        return f"{', '.join([start, *steps])} = {shown(self.to_pay)}" if steps else start


def price(asked: Asked) -> Price:
    """The price of a membership. Never negative, and never below what the associations get.

    Source of the order: the club's own rule (common practice, no source).
    """
    months, of_months = asked.months, asked.of_months
    shares = tuple(share if asked.whole_shares else part_of(share, months, of_months) for share in asked.shares)
    passed_on = sum(shares, NIL)
    if asked.whole_shares:
        own = part_of(asked.full - sum(asked.shares, NIL), months, of_months)
    else:
        own = max(part_of(asked.full, months, of_months) - passed_on, NIL)
    sibling = half_up(own * asked.sibling_percent / 100) if asked.siblings else NIL
    room = own - sibling
    if asked.cap is not None:
        room = min(room, max(asked.cap - asked.paid_before - passed_on, NIL))
    capped = own - sibling - room
    fee = passed_on + room
    return Price(
        full=asked.full,
        by_months=passed_on + own,
        months=asked.months,
        of_months=asked.of_months,
        sibling=sibling,
        capped=capped,
        voucher=min(asked.voucher, fee),
        shares=shares,
    )
