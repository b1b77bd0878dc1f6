"""Verbs of the membership room."""

import calendar
import uuid
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db import transaction
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Party
from clubdesk.membership import posting, selectors
from clubdesk.membership.models import Membership, Plan, Remittance
from clubdesk.money import positive, shown
from clubdesk.roll.models import Person


def months_later(day: date, months: int) -> date:
    """The same day `months` later, or the last day of that month where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


@transaction.atomic
def take_out_membership(
    *, person: Person, plan: Plan, starts_on: date, on: date, by: User, key: uuid.UUID | None = None
) -> Membership:
    """A person becomes a member from `starts_on` for the plan's months, and the household owes the fee of that day.

    Raises Refused where a membership of the person covers any of those days.
    """
    person = (
        Person.objects.select_for_update(of=("self",), no_key=True).select_related("household__party").get(pk=person.pk)
    )
    if found := ledger.written(Membership, key):
        return found
    ends_on = months_later(starts_on, plan.months) - timedelta(days=1)
    other = person.memberships.filter(starts_on__lte=ends_on, ends_on__gte=starts_on).first()
    if other:
        raise Refused(f"{person} is a member already, to {other.ends_on:%-d %b %Y}; start the next one after that.")
    charge = charging.charge(
        household=person.household,
        person=person,
        price=fees.price_on(plan.fee_item, starts_on),
        description=f"{plan} membership, {person}",
        on=on,
        starts_on=starts_on,
        by=by,
    )
    return Membership.objects.create(
        key=key or uuid.uuid4(),
        person=person,
        plan=plan,
        charge=charge,
        starts_on=starts_on,
        ends_on=ends_on,
        recorded_by=by,
    )


@transaction.atomic
def remit_affiliation(
    *, association: Party, amount: Money, on: date, by: User, key: uuid.UUID | None = None
) -> Remittance:
    """Pay an association what the club owes it, or part of it. Raises Refused for more than is owed."""
    ledger.lock_book()
    if found := ledger.written(Remittance, key):
        return found
    amount = positive(amount)
    owed = selectors.affiliation_owed(association)
    if amount > owed:
        raise Refused(f"The club owes {association} {shown(owed)}; no more than that can be remitted.")
    document = Remittance.objects.create(
        key=key or uuid.uuid4(), association=association, amount=amount, paid_on=on, recorded_by=by
    )
    ledger.post(
        source=document,
        purpose="remitted",
        on=on,
        narration=str(document),
        lines=posting.remittance_lines(amount, association),
        by=by,
    )
    return document
