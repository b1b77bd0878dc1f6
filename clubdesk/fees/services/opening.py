"""Balances that households bring with them when a club begins to keep its books here."""

import uuid
from collections.abc import Sequence
from datetime import date

from django.contrib.auth.models import User
from django.db.models import Max
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import posting
from clubdesk.fees.models import Charge, Method, OpeningBalances, Receipt
from clubdesk.fees.services.charging import settle
from clubdesk.ledger import services as ledger
from clubdesk.money import nil
from clubdesk.roll.models import Household
from clubdesk.verbs import part


@part
def bring_in_balances(
    *, balances: Sequence[tuple[Household, Money]], as_at: date, by: User, key: uuid.UUID | None = None
) -> OpeningBalances:
    """Write what each household owes (above zero) or is in credit by (below zero) as one entry.

    Raises Refused for a household that stands there twice, or where every balance is zero.
    """
    if found := ledger.written(OpeningBalances, key):
        return found
    wanted = [(household, amount) for household, amount in balances if amount != nil()]
    if not wanted:
        raise Refused("Every balance is zero; there is nothing to bring in.")
    if len({household.pk for household, _ in wanted}) < len(wanted):
        raise Refused("A household stands there twice; write one balance for it.")
    households = [household for household, _ in wanted]
    list(
        Household.objects.select_for_update(of=("self",), no_key=True)
        .filter(pk__in=[h.pk for h in households])
        .order_by("pk")
    )
    ledger.lock_book()
    document = OpeningBalances.objects.create(key=key or uuid.uuid4(), as_at=as_at, recorded_by=by)
    number = Receipt.objects.aggregate(last=Max("number"))["last"] or 0
    for household, amount in wanted:
        if amount > nil():
            Charge.objects.create(
                household=household, opening=document, description="Balance brought in", amount=amount,
                charged_on=as_at, starts_on=as_at, recorded_by=by,
            )  # fmt: skip
        else:
            number += 1
            Receipt.objects.create(
                household=household, opening=document, number=number, method=Method.BROUGHT, amount=-amount,
                received_on=as_at, reference="balance brought in", recorded_by=by,
            )  # fmt: skip
    ledger.post(
        source=document,
        purpose="opening",
        on=as_at,
        narration=str(document),
        lines=posting.opening_lines([(household.party, amount) for household, amount in wanted]),
        by=by,
    )
    for household in households:
        settle(household=household, on=as_at)
    return document
