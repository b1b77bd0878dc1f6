"""Becoming a member, leaving early, changing the plan, and putting a mistake right."""

import uuid
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from django.contrib.auth.models import User
from django.db.models import Q
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, VoucherScheme
from clubdesk.ledger import services as ledger
from clubdesk.membership import letters, selectors
from clubdesk.membership.models import Membership, Plan
from clubdesk.membership.selectors import Quote
from clubdesk.membership.terms import Term, whole_months_left
from clubdesk.money import as_amount, nil
from clubdesk.roll.models import Household, Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.verbs import verb


@verb(permission="membership.add_membership", title="Take out a membership")
def take_out_membership(
    *,
    person: Person,
    plan: Plan,
    starts_on: date,
    on: date,
    by: User,
    scheme: VoucherScheme | None = None,
    code: str = "",
    birth_date: date | None = None,
    payer: Household | None = None,
    key: uuid.UUID | None = None,
) -> Membership:
    """A person becomes a member from `starts_on` for the plan's term; the household owes that day's fee and is told.

    Where another family pays, as for a child of two homes, it is the `payer`: fee, discounts and letters are its, and
    so it is for what is renewed later.
    The fee is for whole months, less the sibling discount and what is beyond the family cap. Where a `scheme` is given,
    its voucher with that `code`, and the `birth_date` on it, is set against the fee. Raises Refused where a membership
    of the person covers any of those days, for an age that the plan is not for, and as accepting the voucher does.
    """
    household = charging.queue(payer or person.household, person)
    person = Person.objects.select_related("household__party").get(pk=person.pk)
    if found := ledger.written(Membership, key):
        return found
    document = taken_out(person, plan, starts_on, household, on, by, key)
    if scheme:
        if document.charge is None:
            raise Refused("There is nothing to pay, so no voucher is needed; leave it blank.")
        charging.accept_voucher(scheme=scheme, charge=document.charge, code=code, birth_date=birth_date, on=on, by=by)
    letters.tell_joined([document])
    return document


def taken_out(
    person: Person, plan: Plan, starts_on: date, household: Household, on: date, by: User, key: uuid.UUID | None = None
) -> Membership:
    """The membership and its charge; raises Refused where it cannot be. Telling the family is for whoever calls."""
    refuse_erased(person)
    payer = household if household.pk != person.household_id else None
    quote = selectors.quote(person, plan, starts_on, payer=payer)
    if sentence := selectors.why_not(quote):
        raise Refused(sentence)
    return _write(quote, _charge(quote, household, on, by), by, key)


def _charge(quote: Quote, household: Household, on: date, by: User) -> Charge | None:
    if not quote.price.fee:
        return None
    return charging.charge(
        household=household,
        person=quote.person,
        price=quote.listed,
        description=f"{quote.plan} membership, {quote.person}",
        amount=as_amount(quote.price.fee),
        shares=[as_amount(share) for share in quote.price.shares],
        on=on,
        starts_on=quote.starts_on,
        by=by,
    )


def _write(
    quote: Quote,
    charge: Charge | None,
    by: User,
    key: uuid.UUID | None = None,
    changed_from: Membership | None = None,
) -> Membership:
    return Membership.objects.create(
        key=key or uuid.uuid4(),
        person=quote.person,
        plan=quote.plan,
        payer=quote.payer,
        charge=charge,
        starts_on=quote.starts_on,
        ends_on=quote.term.ends_on,
        months=quote.price.months,
        fee=as_amount(quote.price.fee),
        passed_on=as_amount(sum(quote.price.shares, Decimal(0))),
        working=quote.price.working[:200],
        sibling=bool(quote.price.sibling),
        changed_from=changed_from,
        recorded_by=by,
    )


@verb(permission="membership.change_membership", title="The member leaves")
def end_membership(*, membership: Membership, on: date, reason: str, by: User) -> Membership:
    """A member leaves, and the family is told; `on` is the last day as a member. The plan says what is given back.

    What the associations get of the fee stays theirs. Before its first day a membership is cancelled instead.
    """
    document = _locked(membership)
    if document.ended_on or document.cancelled_on:
        return document
    if not reason.strip():
        raise Refused("Say why the membership ends.")
    _refuse_what_is_over(document, on)
    if on < document.starts_on:
        taken = fees.if_taken_back(document.charge, nil()) if document.charge else fees.all_taken_back([])
        document = cancel_membership(membership=document, on=on, reason=reason, by=by)
        letters.tell_left(document, taken)
        return document
    back, day = selectors.back_if_left(document, on), min(on, clock.today())
    taken = _give_back(selectors.charges_of(document), back, day, f"left: {reason.strip()}", by)
    document.ends_on, document.ended_on, document.end_reason = on, on, reason.strip()[:150]
    document.save()
    letters.tell_left(document, taken)
    return document


def lock_homes(which: Q) -> None:
    """Take these households at once, in their order: a child's own and those that pay for its memberships."""
    rows = Household.objects.select_for_update(of=("self",), no_key=True).order_by("pk")
    list(rows.filter(which))


def _locked(membership: Membership) -> Membership:
    charged = Charge.objects.filter(membership__person=membership.person_id).values("household")
    homes = Q(pk__in=(membership.person.household_id, selectors.paying_id(membership)))
    lock_homes(homes | Q(pk__in=charged))
    rows = Membership.objects.select_related(
        "person__household__party", "payer__party", "plan__fee_item", "charge", "changed_from"
    )
    return rows.get(pk=membership.pk)


def _refuse_what_is_over(membership: Membership, on: date) -> None:
    if membership.cancelled_on:
        raise Refused(f"This membership was cancelled on {day_text(membership.cancelled_on)}.")
    later = membership.person.memberships.filter(selectors.STANDING, starts_on__gt=membership.ends_on)
    if following := later.order_by("starts_on").first():
        raise Refused(f"{following} follows from {day_text(following.starts_on)}; end or cancel that one first.")
    if on >= membership.ends_on:
        raise Refused(f"This membership ends on {day_text(membership.ends_on)} anyhow.")


def _give_back(charges: Sequence[Charge], amount: Money, on: date, reason: str, by: User) -> fees.TakenBack:
    """Credit `amount` of the club's own part of what was charged, the latest charge first; returns what it came to.

    What a claimed voucher stands in the way of is promised: it is credited where that voucher is refused.
    """
    charging.lock_charges(charges)
    taken = []
    for claimed_too in (False, True):
        for charge in charges:
            part = min(amount, selectors.own_part_left(charge))
            if not claimed_too:
                part = min(part, fees.if_taken_back(charge, nil()).credited)
            if part > nil():
                kept = charge.amount - fees.credited(charge) - part
                taken.append(charging.take_back(charge=charge, on=on, reason=reason, by=by, keep=kept))
                amount -= part
    return fees.all_taken_back(taken)


@verb(permission="membership.change_membership", title="Cancel this membership")
def cancel_membership(*, membership: Membership, on: date, reason: str, by: User) -> Membership:
    """A membership that should not be: mistyped, or given up before it began. Its whole fee is taken back.

    Where it was a change of plan, the plan before holds again to the same last day, at what it cost.
    """
    document = _locked(membership)
    if document.cancelled_on:
        return document
    if not reason.strip():
        raise Refused("Say why the membership is cancelled.")
    if later := selectors.changed_to(document):
        raise Refused(f"It was changed to {later.plan} since; cancel that one first.")
    _cancel(document, on, reason, by)
    if document.changed_from and not document.ended_on:
        _hold_again(document.changed_from, document, on, by)
    return document


def _cancel(document: Membership, on: date, reason: str, by: User) -> None:
    if document.charge:
        charging.take_back(charge=document.charge, on=on, reason=f"membership cancelled: {reason.strip()}", by=by)
    earliest = document.charge.charged_on if document.charge else on
    document.cancelled_on, document.end_reason = max(on, earliest), reason.strip()[:150]
    document.save()


def _hold_again(before: Membership, cancelled: Membership, on: date, by: User) -> Membership:
    """The plan before for the days of the change that was cancelled; what the change gave back is charged again."""
    rest, charge = selectors.rest_of(before, cancelled.months), None
    back = rest.fee - cancelled.fee.amount
    if cancelled.charge is None and back > 0 and before.charge:
        price = selectors.listed(before.plan, before.starts_on)
        charge = charging.charge(
            household=before.paying,
            person=before.person,
            price=price,
            description=f"{before.plan} membership holds again, {before.person}"[:150],
            amount=as_amount(back),
            shares=[nil() for _ in fees.shares_of_price(price)],
            on=on,
            starts_on=on,
            by=by,
        )
    return Membership.objects.create(
        person=before.person,
        plan=before.plan,
        payer=before.payer,
        charge=charge,
        starts_on=cancelled.starts_on,
        ends_on=cancelled.ends_on,
        months=cancelled.months,
        fee=as_amount(rest.fee),
        passed_on=as_amount(sum(rest.shares.values(), Decimal(0))),
        working="as before a change that was cancelled",
        sibling=before.sibling,
        changed_from=before,
        recorded_by=by,
    )


@verb(permission="membership.change_membership", title="Change the plan")
def change_plan(*, membership: Membership, plan: Plan, on: date, reason: str, by: User) -> Membership:
    """From `on` the member has another plan to the same last day; the household owes or gets back the difference.

    Both fees count by whole months from `on` to the end. A change from the first day on replaces the membership.
    Raises Refused for the same plan, an age that it is not for, or a day outside the membership.
    """
    document = _locked(membership)
    if done := selectors.changed_to(document, plan):
        return done
    if document.plan_id == plan.pk:
        raise Refused(f"{document.person} has the plan {plan} already.")
    if not reason.strip():
        raise Refused("Say why the plan changes.")
    _refuse_what_is_over(document, on)
    first = max(on, document.starts_on)
    if sentence := selectors.wrong_age(document.person, plan, first):
        raise Refused(sentence)
    if on <= document.starts_on:
        _cancel(document, on, f"changed to {plan}: {reason.strip()}", by)
        if document.changed_from:
            return _change(document.changed_from, plan, first, document.ends_on, document.months, on, by)
        term = Term(document.ends_on, document.months)
        quote = selectors.quote(document.person, plan, document.starts_on, term=term, payer=document.payer)
        return _write(quote, _charge(quote, document.paying, on, by), by)
    months = min(whole_months_left(on - timedelta(days=1), document.ends_on), document.months)
    ends_on = document.ends_on
    document.ends_on, document.end_reason = on - timedelta(days=1), f"changed to {plan}: {reason.strip()}"[:150]
    document.save()
    return _change(document, plan, on, ends_on, months, on, by)


def _change(
    before: Membership, plan: Plan, starts_on: date, ends_on: date, months: int, on: date, by: User
) -> Membership:
    """The new plan for the rest, charged or credited by its difference to the rest of the one before."""
    rest = selectors.rest_of(before, months)
    quote = selectors.quote(
        before.person,
        plan,
        starts_on,
        term=Term(ends_on, months),
        leaving=before,
        refunded=rest.fee,
        payer=before.payer,
    )
    difference, charge = quote.price.fee - rest.fee, None
    if difference > 0:
        charge = _charge_difference(quote, difference, rest, before, on, by)
    elif difference < 0:
        _give_back(selectors.charges_of(before), as_amount(-difference), on, f"changed to {plan}", by)
    return _write(quote, charge, by, changed_from=before)


def _charge_difference(
    quote: Quote, difference: Decimal, rest: selectors.Rest, before: Membership, on: date, by: User
) -> Charge:
    """The difference between two plans; each association gets of it what the new plan gives it more."""
    shares, left = [], difference
    for listed, share in zip(fees.shares_of_price(quote.listed), quote.price.shares, strict=True):
        part = min(max(share - rest.shares.get(listed.party_id, Decimal(0)), Decimal(0)), left)
        shares.append(as_amount(part))
        left -= part
    return charging.charge(
        household=quote.paying,
        person=quote.person,
        price=quote.listed,
        description=f"From {before.plan} to {quote.plan} membership, {quote.person}"[:150],
        amount=as_amount(difference),
        shares=shares,
        on=on,
        starts_on=max(on, quote.starts_on),
        by=by,
    )
