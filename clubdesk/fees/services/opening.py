"""What households owed, or had paid ahead, when a club begins to keep its books here."""

import uuid
from collections.abc import Sequence
from typing import NamedTuple

from django.contrib.auth.models import User
from django.db.models import Max, Q
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import posting
from clubdesk.fees.models import Charge, Method, OpeningBalances, Receipt
from clubdesk.fees.services.charging import queue_all, settle
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Kind
from clubdesk.ledger.selectors import opening_day
from clubdesk.money import nil
from clubdesk.roll.models import Household
from clubdesk.verbs import verb


class OpenItem(NamedTuple):
    """What a household owes (above nil) or has paid ahead (below), and the income that it is for.

    `opened_for` may be unknown of what was paid ahead; whatever it pays later says it then.
    """

    household: Household
    amount: Money
    opened_for: Account | None = None


@verb(permission="fees.add_charge", title="Record what families owed before")
def bring_in_balances(*, items: Sequence[OpenItem], by: User, key: uuid.UUID | None = None) -> OpeningBalances:
    """Write each household's open items of the day before the first year as one entry; they are paid like any other.

    Raises Refused where one does not say what it is for, where a household's were brought in already, where all
    are nil, and once the first month is locked.
    """
    if found := ledger.written(OpeningBalances, key):
        return found
    items = [item for item in items if item.amount != nil()]
    if not items:
        raise Refused("Every balance is zero; there is nothing to record.")
    for item in items:
        _refuse_unexplained(item)
    households = {item.household.pk: item.household for item in items}
    queue_all(households)
    ledger.lock_book()
    of_these = Q(charges__household__in=households) | Q(receipts__household__in=households)
    if standing := OpeningBalances.objects.filter(of_these).first():
        raise Refused(f"{standing}: the balances of these families are recorded already.")
    document = OpeningBalances.objects.create(key=key or uuid.uuid4(), as_at=opening_day(), recorded_by=by)
    _write_items(document, items, by)
    ledger.post(
        source=document,
        purpose="opening",
        on=document.as_at,
        narration=str(document),
        lines=posting.opening_lines([(item.household.party, item.amount) for item in items]),
        by=by,
        is_opening=True,
    )
    for household in households.values():
        settle(household=household, on=document.as_at)
    return document


def _refuse_unexplained(item: OpenItem) -> None:
    if item.opened_for is None and item.amount > nil():
        raise Refused(f"Say what {item.household} owes it for, so that the receipt is told as that when it comes.")
    if item.opened_for and item.opened_for.kind != Kind.INCOME:
        raise Refused(f"{item.opened_for} is no income; say which income {item.household} owes or has paid ahead.")


def _write_items(document: OpeningBalances, items: Sequence[OpenItem], by: User) -> None:
    """Charges and receipts of the opening day."""
    day = document.as_at
    number = Receipt.objects.aggregate(last=Max("number"))["last"] or 0
    for household, amount, opened_for in items:
        if amount > nil():
            words = f"Balance brought in: {opened_for.name}" if opened_for else "Balance brought in"
            Charge.objects.create(
                household=household, opening=document, opened_for=opened_for, description=words, amount=amount,
                charged_on=day, starts_on=day, recorded_by=by,
            )  # fmt: skip
        else:
            number += 1
            Receipt.objects.create(
                household=household, opening=document, opened_for=opened_for, number=number, method=Method.BROUGHT,
                amount=-amount, received_on=day, reference="balance brought in", recorded_by=by,
            )  # fmt: skip
