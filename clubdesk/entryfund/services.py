"""Verbs of the entry fund."""

import hashlib
import uuid
from datetime import date

from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.db import transaction
from djmoney.money import Money

from clubdesk.entryfund import posting, selectors
from clubdesk.entryfund.evidence import Evidence
from clubdesk.entryfund.models import ClaimState, ContainerReturn, EntryClaim, PaidInto, StateEvent
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FundRole
from clubdesk.money import positive
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import belongs_to


@transaction.atomic
def cash_in(
    *,
    containers: int,
    amount: Money,
    paid_into: PaidInto,
    on: date,
    by: User,
    depot_receipt: str = "",
    key: uuid.UUID | None = None,
) -> ContainerReturn:
    """Containers cashed in: the depot's amount goes into the entry fund."""
    ledger.lock_book()
    if found := ledger.written(ContainerReturn, key):
        return found
    if containers < 1:
        raise Refused("Count at least one container.")
    document = ContainerReturn.objects.create(
        key=key or uuid.uuid4(),
        returned_on=on,
        containers=containers,
        amount=positive(amount),
        paid_into=paid_into,
        depot_receipt=depot_receipt.strip(),
        recorded_by=by,
    )
    ledger.post(
        source=document,
        purpose="cashed in",
        on=on,
        narration=f"{document}{f', receipt {document.depot_receipt}' if document.depot_receipt else ''}",
        lines=posting.cashed_in_lines(document.amount, PaidInto(paid_into)),
        by=by,
    )
    return document


@transaction.atomic
def record_claim(
    *,
    person: Person,
    event: StateEvent,
    amount: Money,
    evidence: Evidence,
    on: date,
    by: User,
    key: uuid.UUID | None = None,
) -> EntryClaim:
    """Write down a claim with its receipt. It decides nothing and posts nothing.

    Raises Refused where the child has a claim for the event already.
    """
    event = StateEvent.objects.select_for_update(of=("self",), no_key=True).get(pk=event.pk)
    if found := ledger.written(EntryClaim, key):
        return found
    standing = event.claims.filter(person=person).exclude(state=ClaimState.DECLINED).first()
    if standing:
        raise Refused(f"{person} has a claim for {event} already: {standing.get_state_display().lower()}.")
    claim = EntryClaim(
        key=key or uuid.uuid4(),
        person=person,
        household=person.household,
        event=event,
        amount=positive(amount),
        claimed_on=on,
        receipt_type=evidence.content_type,
        receipt_digest=hashlib.sha256(evidence.content).hexdigest(),
        recorded_by=by,
    )
    claim.receipt.save("receipt", ContentFile(evidence.content), save=False)
    claim.save()
    return claim


def _for_decision(claim: EntryClaim, by: User) -> EntryClaim:
    claim = (
        EntryClaim.objects.select_for_update(of=("self",), no_key=True)
        .select_related("person", "event", "household__party")
        .get(pk=claim.pk)
    )
    if claim.recorded_by_id == by.pk:
        raise Refused("You recorded this claim; somebody else must decide about it.")
    if belongs_to(by, claim.household):
        raise Refused(f"You belong to {claim.household}; somebody else must decide about its claim.")
    return claim


@transaction.atomic
def approve_claim(*, claim: EntryClaim, by: User, on: date) -> EntryClaim:
    """Approve a refund: the entry fund owes it to the household.

    Raises Refused for whoever recorded it or belongs to the household, a claim that fails a check (with the
    reason), one that was declined, and one that would overdraw the fund.
    """
    claim = _for_decision(claim, by)
    if claim.state in (ClaimState.APPROVED, ClaimState.PAID):
        return claim
    if claim.state == ClaimState.DECLINED:
        raise Refused("This claim was declined; record it again if that was wrong.")
    if on < claim.claimed_on:
        raise Refused(f"It was claimed on {claim.claimed_on:%-d %b %Y}; it cannot be decided before.")
    failed = [check.sentence for check in selectors.checks_of(claim) if not check.passed]
    if failed:
        raise Refused(f"This claim cannot be approved: {'; '.join(failed)}.")
    ledger.lock_book()
    ledger.refuse_overdrawing(FundRole.ENTRY, -int(claim.amount.amount * 100))
    claim.state, claim.decided_by, claim.decided_on = ClaimState.APPROVED, by, on
    claim.save(update_fields=["state", "decided_by", "decided_on"])
    ledger.post(
        source=claim,
        purpose="approve",
        on=on,
        narration=f"Entry fee refund approved: {claim.event} (claim {claim.pk})",
        lines=posting.approved_lines(claim.amount, claim.household.party),
        by=by,
    )
    return claim


@transaction.atomic
def decline_claim(*, claim: EntryClaim, reason: str, by: User, on: date) -> EntryClaim:
    """Decline a claim with a reason that the family can be told."""
    claim = _for_decision(claim, by)
    if claim.state == ClaimState.DECLINED:
        return claim
    if claim.state != ClaimState.RECORDED:
        raise Refused("This claim was approved already.")
    if not reason.strip():
        raise Refused("Give the reason in words that you would tell the family.")
    claim.state, claim.decided_by, claim.decided_on = ClaimState.DECLINED, by, on
    claim.decision_reason = reason.strip()[:200]
    claim.save(update_fields=["state", "decided_by", "decided_on", "decision_reason"])
    return claim


@transaction.atomic
def pay_claim(*, claim: EntryClaim, on: date, by: User, reference: str = "") -> EntryClaim:
    """The refund went to the household by bank transfer. Raises Refused for a claim that is not approved."""
    claim = (
        EntryClaim.objects.select_for_update(of=("self",), no_key=True)
        .select_related("person", "event", "household__party")
        .get(pk=claim.pk)
    )
    if claim.state == ClaimState.PAID:
        return claim
    if claim.state != ClaimState.APPROVED:
        raise Refused("Only an approved claim is paid.")
    if claim.decided_on and on < claim.decided_on:
        raise Refused(f"It was approved on {claim.decided_on:%-d %b %Y}; it cannot be paid before.")
    if belongs_to(by, claim.household):
        raise Refused(f"You belong to {claim.household}; somebody else must pay its claim.")
    claim.state, claim.paid_on, claim.payment_reference = ClaimState.PAID, on, reference.strip()
    claim.save(update_fields=["state", "paid_on", "payment_reference"])
    ledger.post(
        source=claim,
        purpose="pay",
        on=on,
        narration=f"Entry fee refund paid: {claim.event} (claim {claim.pk})",
        lines=posting.paid_lines(claim.amount, claim.household.party),
        by=by,
    )
    return claim
