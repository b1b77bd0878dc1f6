"""What the bank says where two families turn out to be one."""

from collections.abc import Iterator
from datetime import date

from clubdesk.bank.models import ItemState, PaymentItem
from clubdesk.bank.selectors import details_of
from clubdesk.errors import Refused
from clubdesk.roll.models import Household, Merge, Person
from clubdesk.rooms import Merging


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """Payments on their way, and two accounts of which nobody has said which one is paid."""
    if not isinstance(one, Household) or not isinstance(other, Household):
        return
    yield from (_on_its_way(each) for each in (one, other) if _waiting(each))
    own, others = details_of(one), details_of(other)
    if own and others and others.pk > own.pk and own.in_full != others.in_full:
        yield f"The two have different bank details: ask which are right, and note them for {one} first."


def _waiting(household: Household) -> bool:
    return PaymentItem.objects.filter(household=household, state=ItemState.WAITING).exists()


def _on_its_way(household: Household) -> str:
    return f"A payment run still pays {household} something: record that it was paid, or leave it out, first."


def before_undoing(merge: Merge, on: date) -> None:
    if merge.household and _waiting(merge.household):
        raise Refused(_on_its_way(merge.household))


MERGING = Merging(refuses=refuses, before_undoing=before_undoing)
