"""The fees that a club begins with, several at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.utils.text import slugify
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees.models import FeeItem, FeeKind, FeePrice
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account
from clubdesk.money import nil
from clubdesk.verbs import verb

INCOME = {
    FeeKind.MEMBERSHIP: Role.MEMBERSHIPS,
    FeeKind.COURSE: Role.COURSES,
    FeeKind.HIRE: Role.HIRE,
    FeeKind.VISITOR: Role.VISITORS,
    FeeKind.BESIDE: Role.HIRE,
}
"""Which income a fee of each kind is, where nobody says otherwise."""


@dataclass(frozen=True)
class NewFee:
    """A fee by its name and kind, and its price, above nil."""

    name: str
    kind: str
    amount: Money


@verb(permission="fees.add_feeitem", title="Begin from an example")
def begin_fees(*, fees: Sequence[NewFee], on: date, by: User) -> list[FeeItem]:
    """Each fee with its price from that day; a fee of that name that stands already is left as it is.

    Raises Refused without any, for a name that stands twice, and for a price that is not above nil.
    """
    if not fees:
        raise Refused("Name at least one fee with its price.")
    codes = [slugify(fee.name)[:30] for fee in fees]
    if len(set(codes)) < len(codes) or not all(codes):
        raise Refused("Give each fee a name of its own, in letters or figures.")
    if any(fee.amount <= nil() for fee in fees):
        raise Refused("Each price is above zero.")
    return [_begin(fee, code, on) for fee, code in zip(fees, codes, strict=True)]


def _begin(fee: NewFee, code: str, on: date) -> FeeItem:
    income = account(INCOME[FeeKind(fee.kind)])
    told = {"name": fee.name, "kind": fee.kind, "income_account": income}
    item, is_new = FeeItem.objects.get_or_create(code=code, defaults=told)
    if is_new:
        FeePrice.objects.create(item=item, valid_from=on, amount=fee.amount)
    return item
