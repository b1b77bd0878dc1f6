"""Questions about range days."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees.models import FeeKind, FeePrice
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance, summed
from clubdesk.membership.selectors import is_member
from clubdesk.money import as_amount, nil
from clubdesk.rangeday.models import Gear, Paid, RangeDay, SignOn
from clubdesk.roll.models import Person

STANDS = Q(cancelled_on=None)


@dataclass(frozen=True)
class Tariff:
    """What signing on costs: the kind it counts as, its price (None where nothing is due) and the amount."""

    gear: Gear
    price: FeePrice | None
    amount: Money


def tariff(*, person: Person | None, gear: Gear, range_day: RangeDay) -> Tariff:
    """The fee on that day: a member with own gear pays nothing, a member the hire, anybody else the visitor's fee.

    Raises Refused where the schedule lacks the price.
    """
    member = person is not None and is_member(person, range_day.date)
    if gear == Gear.OWN and member:
        return Tariff(Gear.OWN, None, nil())
    kind = FeeKind.HIRE if member else FeeKind.VISITOR
    price = fees.price_of_kind(kind, range_day.date)
    return Tariff(Gear.HIRE if member else Gear.VISITOR, price, price.amount)


def days_with_takings() -> QuerySet[Any]:
    """Range days with `people`, `cash`, `card` and `account` (Decimal)."""

    def taken(paid: Paid) -> Any:
        return summed("sign_ons__amount", Q(sign_ons__paid=paid, sign_ons__cancelled_on=None))

    def rounded() -> Any:
        return summed("sign_ons__rounding", Q(sign_ons__cancelled_on=None))

    return RangeDay.objects.annotate(
        people=Count("sign_ons", filter=Q(sign_ons__cancelled_on=None)),
        cash=taken(Paid.CASH) - rounded(),
        card=taken(Paid.CARD),
        account=taken(Paid.ACCOUNT),
    )


def till_expected(range_day: RangeDay) -> Money:
    """What should be in the tin at the end of the day, by the ledger."""
    return as_amount(balance(Role.TILL, range_day.date))


def signed_on(range_day: RangeDay, person: Person) -> SignOn | None:
    return range_day.sign_ons.filter(STANDS, person=person).first()


def board(range_day: RangeDay) -> list[tuple[str, Money | None]]:
    """What the day costs, as it would stand on a board at the range; None where the schedule has no price."""

    def price(kind: FeeKind) -> Money | None:
        try:
            return fees.price_of_kind(kind, range_day.date).amount
        except Refused:
            return None

    return [("Member, club gear", price(FeeKind.HIRE)), ("Visitor, club gear", price(FeeKind.VISITOR))]
