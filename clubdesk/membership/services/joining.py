"""Becoming a member, leaving early, changing the plan, and putting a mistake right."""

import uuid
from datetime import date, timedelta
from decimal import Decimal

from django.contrib.auth.models import User
from django.db import transaction
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge
from clubdesk.ledger import services as ledger
from clubdesk.membership import selectors
from clubdesk.membership.models import Membership, Plan, Refund
from clubdesk.membership.selectors import Quote
from clubdesk.membership.terms import Term, whole_months_left
from clubdesk.money import as_amount, half_up, nil
from clubdesk.roll.models import Household, Person


@transaction.atomic
def take_out_membership(
    *, person: Person, plan: Plan, starts_on: date, on: date, by: User, key: uuid.UUID | None = None
) -> Membership:
    """A person becomes a member from `starts_on` for the plan's term, and the household owes the fee of that day.

    The fee is for whole months, less the sibling discount and what is beyond the family cap. Raises Refused where a
    membership of the person covers any of those days, and for an age that the plan is not for.
    """
    household = charging.queue(person.household)
    person = Person.objects.select_related("household__party").get(pk=person.pk)
    if found := ledger.written(Membership, key):
        return found
    quote = selectors.quote(person, plan, starts_on)
    _refuse_unfit(person, plan, quote)
    return _write(quote, household, on, by, key)


def _refuse_unfit(person: Person, plan: Plan, quote: Quote) -> None:
    if sentence := selectors.wrong_age(person, plan, quote.starts_on):
        raise Refused(sentence)
    covering = person.memberships.filter(
        selectors.STANDING, starts_on__lte=quote.term.ends_on, ends_on__gte=quote.starts_on
    )
    if other := covering.first():
        if other.starts_on <= quote.starts_on:
            raise Refused(f"{person} is a member already, to {other.ends_on:%-d %b %Y}; start the next one after that.")
        raise Refused(f"{person} has a membership from {other.starts_on:%-d %b %Y} on already; cancel that one first.")


def _write(
    quote: Quote,
    household: Household,
    on: date,
    by: User,
    key: uuid.UUID | None = None,
    charge: Charge | None = None,
    changed_from: Membership | None = None,
) -> Membership:
    price = quote.price
    if changed_from is None and price.fee:
        charge = charging.charge(
            household=household,
            person=quote.person,
            price=quote.listed,
            description=f"{quote.plan} membership, {quote.person}",
            amount=as_amount(price.fee),
            shares=[as_amount(share) for share in price.shares],
            on=on,
            starts_on=quote.starts_on,
            by=by,
        )
    return Membership.objects.create(
        key=key or uuid.uuid4(),
        person=quote.person,
        plan=quote.plan,
        charge=charge,
        starts_on=quote.starts_on,
        ends_on=quote.term.ends_on,
        months=price.months,
        fee=as_amount(price.fee),
        passed_on=as_amount(sum(price.shares, Decimal(0))),
        working=price.working[:200],
        sibling=bool(price.sibling),
        changed_from=changed_from,
        recorded_by=by,
    )


@transaction.atomic
def end_membership(*, membership: Membership, on: date, reason: str, by: User) -> Membership:
    """A member leaves; `on` is the last day as a member. The plan's rule says what is given back.

    What the associations get of the fee stays theirs. Before its first day a membership is cancelled instead.
    """
    document = _locked(membership)
    if document.ended_on:
        return document
    if not reason.strip():
        raise Refused("Say why the membership ends.")
    _refuse_what_is_over(document, on)
    if on < document.starts_on:
        return cancel_membership(membership=document, on=on, reason=reason, by=by)
    if document.plan.refund == Refund.MONTHS:
        months = whole_months_left(on, document.ends_on)
        own = (document.fee - document.passed_on).amount
        back = as_amount(half_up(own * min(months, document.months) / document.months))
        _give_back(document, back, on, f"left: {reason.strip()}", by)
    document.ends_on, document.ended_on, document.end_reason = on, on, reason.strip()[:150]
    document.save()
    return document


def _locked(membership: Membership) -> Membership:
    charging.queue(membership.person.household)
    rows = Membership.objects.select_related("person__household__party", "plan__fee_item", "charge", "changed_from")
    return rows.get(pk=membership.pk)


def _refuse_what_is_over(membership: Membership, on: date) -> None:
    if membership.cancelled_on:
        raise Refused(f"This membership was cancelled on {membership.cancelled_on:%-d %b %Y}.")
    if on >= membership.ends_on:
        raise Refused(f"This membership ends on {membership.ends_on:%-d %b %Y} anyhow.")


def _give_back(membership: Membership, amount: Money, on: date, reason: str, by: User) -> None:
    """Credit `amount` of the club's own part of what the membership was charged, the latest charge first."""
    charges = selectors.charges_of(membership)
    charging.hold(charges)
    for charge in charges:
        part = min(amount, selectors.own_part_left(charge))
        if part > nil():
            kept = charge.amount - fees.credited(charge) - part
            amount -= charging.take_back(charge=charge, on=on, reason=reason, by=by, keep=kept).credited


@transaction.atomic
def cancel_membership(*, membership: Membership, on: date, reason: str, by: User) -> Membership:
    """A membership that should not be: mistyped, or given up before it began. Its whole fee is taken back."""
    document = _locked(membership)
    if document.cancelled_on:
        return document
    if not reason.strip():
        raise Refused("Say why the membership is cancelled.")
    if hasattr(document, "changed_to") and document.changed_to.cancelled_on is None:
        raise Refused(f"It was changed to {document.changed_to.plan} since; cancel that one first.")
    if document.charge:
        charging.take_back(charge=document.charge, on=on, reason=f"membership cancelled: {reason.strip()}", by=by)
    document.cancelled_on, document.end_reason = on, reason.strip()[:150]
    document.save()
    return document


@transaction.atomic
def change_plan(*, membership: Membership, plan: Plan, on: date, reason: str, by: User) -> Membership:
    """From `on` the member has another plan to the same last day; the household owes or gets back the difference.

    Both fees count by whole months from `on` to the end. A change from the first day on replaces the membership.
    Raises Refused for the same plan, an age that it is not for, or a day outside the membership.
    """
    document = _locked(membership)
    if hasattr(document, "changed_to") and document.changed_to.plan_id == plan.pk:
        return document.changed_to
    if document.plan_id == plan.pk:
        raise Refused(f"{document.person} has the plan {plan} already.")
    if not reason.strip():
        raise Refused("Say why the plan changes.")
    _refuse_what_is_over(document, on)
    if on <= document.starts_on:
        cancel_membership(membership=document, on=on, reason=f"changed to {plan}: {reason.strip()}", by=by)
        return take_out_membership(person=document.person, plan=plan, starts_on=document.starts_on, on=on, by=by)
    if sentence := selectors.wrong_age(document.person, plan, on):
        raise Refused(sentence)
    months = min(whole_months_left(on - timedelta(days=1), document.ends_on), document.months)
    before = half_up(document.fee.amount * months / document.months)
    term = Term(document.ends_on, months)
    quote = selectors.quote(document.person, plan, on, term=term, leaving=document, refunded=before)
    document.ends_on, document.end_reason = on - timedelta(days=1), f"changed to {plan}: {reason.strip()}"[:150]
    document.save()
    difference = quote.price.fee - before
    charge = None
    if difference > 0:
        charge = _charge_difference(quote, difference, document, on, by)
    elif difference < 0:
        _give_back(document, as_amount(-difference), on, f"changed to {plan}", by)
    return _write(quote, document.person.household, on, by, charge=charge, changed_from=document)


def _charge_difference(quote: Quote, difference: Decimal, before: Membership, on: date, by: User) -> Charge:
    """The difference between two plans; each association gets of it what the new plan gives it more."""
    had, shares, left = selectors.passed_on_by(before), [], difference
    for listed, share in zip(fees.shares_of_price(quote.listed), quote.price.shares, strict=True):
        already = half_up(had.get(listed.party_id, Decimal(0)) * quote.price.months / before.months)
        part = min(max(share - already, Decimal(0)), left)
        shares.append(as_amount(part))
        left -= part
    return charging.charge(
        household=quote.person.household,
        person=quote.person,
        price=quote.listed,
        description=f"From {before.plan} to {quote.plan} membership, {quote.person}"[:150],
        amount=as_amount(difference),
        shares=shares,
        on=on,
        starts_on=on,
        by=by,
    )
