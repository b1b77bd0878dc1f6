"""Counting the tin at the end of a day, and bringing takings to the bank."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from django.db import transaction
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance, last_day_posted
from clubdesk.money import as_amount, nil, positive, shown
from clubdesk.rangeday import posting, selectors
from clubdesk.rangeday.models import Banking, RangeDay, TillCount


@transaction.atomic
def close_day(
    *,
    range_day: RangeDay,
    counted: Money,
    second_counter: User,
    by: User,
    on: date,
    reason: str = "",
    key: uuid.UUID | None = None,
) -> TillCount:
    """Count the tin, post any difference to Cash over and short, and close the day.

    Two people count; a difference needs a reason. Raises Refused otherwise, and for a day that is still to come.
    """
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)
    standing = TillCount.objects.filter(range_day=day).first()
    if standing:
        return standing
    if on < day.date:
        raise Refused(f"{day} is still to come.")
    if second_counter.pk == by.pk:
        raise Refused("Two people count the tin; choose the other one.")
    expected, counted = selectors.till_expected(day), as_amount(counted)
    difference = counted - expected
    if counted < nil():
        raise Refused("Less than nothing cannot be in the tin.")
    if difference != nil() and not reason.strip():
        word = "over" if difference > nil() else "short"
        raise Refused(
            f"The ledger expects {shown(expected)}; the tin is {word} by {shown(abs(difference))}."
            " Say what you know of it."
        )
    count = TillCount.objects.create(
        key=key or uuid.uuid4(),
        range_day=day,
        expected=expected,
        counted=counted,
        reason=reason.strip()[:150],
        second_counter=second_counter,
        recorded_by=by,
    )
    if difference != nil():
        ledger.post(
            source=count,
            purpose="difference",
            on=day.date,
            narration=f"{count}: {count.reason}",
            lines=posting.count_lines(difference),
            by=by,
        )
    day.closed_on = on
    day.save(update_fields=["closed_on"])
    return count


@transaction.atomic
def bank_takings(*, amount: Money, on: date, by: User, key: uuid.UUID | None = None) -> Banking:
    """Bring cash from the till to the bank. Raises Refused for more than the till holds."""
    ledger.lock_book()
    if found := ledger.written(Banking, key):
        return found
    amount = positive(amount)
    held = as_amount(min(balance(Role.TILL, on), balance(Role.TILL, max(on, last_day_posted() or on))))
    if amount > held:
        raise Refused(f"The till holds {shown(held)} on {on:%-d %b %Y}; no more than that can be banked.")
    document = Banking.objects.create(key=key or uuid.uuid4(), amount=amount, banked_on=on, recorded_by=by)
    ledger.post(
        source=document,
        purpose="banked",
        on=on,
        narration=str(document),
        lines=posting.banking_lines(amount),
        by=by,
    )
    return document
