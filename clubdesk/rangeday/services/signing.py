"""Signing on at the range, and undoing it."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from django.db import transaction
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge
from clubdesk.ledger import services as ledger
from clubdesk.money import cash_rounded, nil, shown
from clubdesk.rangeday import posting, selectors
from clubdesk.rangeday.models import Gear, Paid, RangeDay, SignOn, Tap
from clubdesk.roll.models import Person


def _refuse_closed(day: RangeDay) -> None:
    if day.closed_on:
        raise Refused(f"{day} is closed and counted; its sign-ons stay as they are.")


@transaction.atomic
def sign_on(
    *,
    range_day: RangeDay,
    gear: Gear,
    paid: Paid,
    by: User,
    person: Person | None = None,
    visitor_name: str = "",
    visitor_guardian: str = "",
    visitor_phone: str = "",
    rounding: Money | None = None,
    tap: Tap | None = None,
    key: uuid.UUID | None = None,
) -> SignOn:
    """Somebody shoots today. The fee comes from the schedule, the membership on that day and the gear.

    Cash and card post at once; "on account" charges the household. `rounding` is what of a family's one cash payment
    falls on this fee; its own where it is not given. Raises Refused for a closed day, somebody signed on already, a
    fee with no way of paying it, and on account without a household.
    """
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)
    if found := ledger.written(SignOn, key):
        return found
    _refuse_closed(day)
    if person and day.sign_ons.filter(selectors.STANDS, person=person).exists():
        raise Refused(f"{person} is signed on already today.")
    if not person and not visitor_name.strip():
        raise Refused("Pick somebody from the roll, or type the visitor's name.")
    due = selectors.tariff(person=person, gear=gear, range_day=day)
    if due.amount > nil() and paid == Paid.NOTHING:
        raise Refused(f"{shown(due.amount)} is due; say how it was paid.")
    if paid == Paid.ACCOUNT and not person:
        raise Refused("A visitor without a household cannot put it on account; take cash or card.")
    document = SignOn(
        key=key or uuid.uuid4(),
        range_day=day,
        person=person,
        visitor_name="" if person else visitor_name.strip()[:100],
        visitor_guardian=visitor_guardian.strip()[:100],
        visitor_phone=visitor_phone.strip()[:30],
        tap=tap,
        gear=due.gear,
        price=due.price,
        amount=due.amount,
        rounding=_rounding(due.amount, rounding) if paid == Paid.CASH else nil(),
        paid=paid if due.amount > nil() else Paid.NOTHING,
        recorded_by=by,
    )
    if document.paid == Paid.ACCOUNT:
        document.charge = _on_account(document, by)
    document.save()
    if document.entries_called_for:
        _post_sign_on(document, by)
    return document


def _rounding(amount: Money, given: Money | None) -> Money:
    return amount - cash_rounded(amount) if given is None else given


def _on_account(document: SignOn, by: User) -> Charge:
    assert document.person is not None
    assert document.price is not None
    return charging.charge(
        household=document.person.household,
        person=document.person,
        price=document.price,
        description=f"{document.price.item}, {document.person}, {document.range_day.date:%-d %b %Y}"[:150],
        on=document.range_day.date,
        starts_on=document.range_day.date,
        by=by,
    )


def _post_sign_on(document: SignOn, by: User) -> None:
    price = document.price
    assert price is not None
    ledger.post(
        source=document,
        purpose="paid at the range",
        on=document.range_day.date,
        narration=f"{document.get_gear_display()}, {document.range_day}, {document.get_paid_display().lower()}",
        lines=posting.sign_on_lines(
            document.amount,
            document.rounding,
            Paid(document.paid),
            income=price.item.income_account,
            shares=fees.shares_of_price(price),
        ),
        by=by,
    )


@transaction.atomic
def cancel_sign_on(*, sign_on: SignOn, on: date, reason: str, by: User) -> SignOn:
    """Undo a sign-on recorded by mistake: its entry is reversed or its charge credited, the reason is kept."""
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=sign_on.range_day_id)
    document = (
        SignOn.objects.select_for_update(of=("self",), no_key=True)
        .select_related("range_day", "charge")
        .get(pk=sign_on.pk)
    )
    if document.cancelled_on:
        return document
    if not reason.strip():
        raise Refused("Say why the sign-on is cancelled.")
    _refuse_closed(day)
    ledger.undo_entries_of(document=document, on=document.range_day.date, reason=reason, by=by)
    if document.charge:
        charging.take_back(charge=document.charge, on=document.range_day.date, reason=reason, by=by)
    document.cancelled_on, document.cancel_reason = on, reason.strip()[:150]
    document.save(update_fields=["cancelled_on", "cancel_reason"])
    return document
