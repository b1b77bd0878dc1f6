"""Verbs of the entry fund."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.entryfund import letters, posting, selectors
from clubdesk.entryfund.models import (
    BagCount,
    ClaimState,
    ContainerReturn,
    EntryClaim,
    FundTransfer,
    MoreEvidence,
    PaidInto,
    StateEvent,
)
from clubdesk.entryfund.states import CLAIM
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence, attach
from clubdesk.fees.services.paying_back import locked, locked_for_decision, pay, take_payment_back
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Fund, FundRole, Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.mail.services import untold
from clubdesk.money import as_amount, cents_of, positive, shown
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.verbs import NOBODY, verb


@verb(permission="entryfund.add_containerreturn", title="Cash in containers")
def cash_in(
    *,
    containers: int,
    amount: Money,
    paid_into: PaidInto,
    on: date,
    by: User,
    depot_receipt: str = "",
    evidence: Evidence | None = None,
    key: uuid.UUID | None = None,
) -> ContainerReturn:
    """Containers cashed in: the depot's amount goes into the entry fund. `evidence` is the depot's receipt."""
    ledger.lock_book()
    if found := ledger.written(ContainerReturn, key):
        return found
    if containers < 1:
        raise Refused("Count at least one container.")
    amount, depot_receipt = positive(amount), depot_receipt.strip()
    if evidence is not None:
        _refuse_receipt_used(evidence)
    if depot_receipt and selectors.returns_that_stand().filter(depot_receipt=depot_receipt, amount=amount).exists():
        raise Refused(f"The depot’s receipt {depot_receipt} over {shown(amount)} is recorded already.")
    document = ContainerReturn(
        key=key or uuid.uuid4(),
        returned_on=on,
        containers=containers,
        amount=amount,
        paid_into=paid_into,
        depot_receipt=depot_receipt,
        recorded_by=by,
    )
    if evidence is not None:
        attach(document, evidence)
    document.save()
    ledger.post(
        source=document,
        purpose="cashed in",
        on=on,
        narration=f"{document}{f', receipt {document.depot_receipt}' if document.depot_receipt else ''}",
        lines=posting.cashed_in_lines(document.amount, PaidInto(paid_into)),
        by=by,
    )
    return document


def _refuse_receipt_used(evidence: Evidence) -> None:
    used = ContainerReturn.objects.filter(receipt_digest=evidence.digest, cancelled_on=None).first()
    if used:
        raise Refused(f"This very receipt stands behind {used} already; choose the other file.")


@verb(permission="entryfund.add_containerreturn", title="Cancel this return")
def cancel_return(*, container_return: ContainerReturn, on: date, reason: str, by: User) -> ContainerReturn:
    """Undo a return that was typed wrongly: its entry is reversed.

    Raises Refused without a reason, and where the fund has promised the money to claims by now.
    """
    document = ContainerReturn.objects.select_for_update(of=("self",), no_key=True).get(pk=container_return.pk)
    if document.cancelled_on:
        return document
    if on < document.returned_on:
        raise Refused(f"It was cashed in on {day_text(document.returned_on)}; it cannot be cancelled before.")
    ledger.lock_book()
    if document.paid_into == PaidInto.TILL and as_amount(balance(Role.TILL, on)) < document.amount:
        raise Refused("That cash is not in the cash box any more; cancel its banking first.")
    ledger.undo_entries_of(document=document, on=on, reason=reason, by=by)
    document.cancelled_on, document.cancel_reason = on, reason.strip()[:150]
    document.save(update_fields=["cancelled_on", "cancel_reason"])
    return document


@verb(permission="entryfund.add_containerreturn", title="Count the bags at the club")
def count_bags(*, bags: int, containers: int, on: date, by: User, key: uuid.UUID | None = None) -> BagCount:
    """Note how many bags wait at the club, and about how many containers are in them. It is not money."""
    ledger.lock_book()
    if found := ledger.written(BagCount, key):
        return found
    if bags < 0 or containers < 0 or (bags == 0) != (containers == 0):
        raise Refused("Write how many bags there are and about how many containers; both nought where none waits.")
    return BagCount.objects.create(
        key=key or uuid.uuid4(), counted_on=on, bags=bags, containers=containers, recorded_by=by
    )


@verb(permission="entryfund.add_entryclaim", title="Record a refund request")
def record_claim(
    *,
    person: Person,
    event: StateEvent,
    amount: Money,
    evidence: Evidence,
    on: date,
    by: User,
    receipt_amount: Money | None = None,
    entry_shown: bool = True,
    by_family: bool = False,
    key: uuid.UUID | None = None,
) -> EntryClaim:
    """Write down a claim with its receipt. It decides nothing and posts nothing.

    `receipt_amount` is what the receipt says; `entry_shown` whether it, or the entry list, shows the child's entry.
    Raises Refused where the child has a claim for the event already.
    """
    event = StateEvent.objects.select_for_update(of=("self",), no_key=True).get(pk=event.pk)
    if found := ledger.written(EntryClaim, key):
        return found
    refuse_erased(person)
    standing = event.claims.filter(person=person).exclude(state=ClaimState.DECLINED).first()
    if standing:
        raise Refused(f"{person} has a refund request for {event} already: {standing.get_state_display().lower()}.")
    claim = EntryClaim(
        key=key or uuid.uuid4(),
        person=person,
        household=person.household,
        event=event,
        amount=positive(amount),
        receipt_amount=None if receipt_amount is None else positive(receipt_amount, "What the receipt says"),
        entry_shown=entry_shown,
        by_family=by_family,
        claimed_on=on,
        upload_digest=evidence.upload_digest,
        recorded_by=by,
    )
    attach(claim, evidence)
    claim.save()
    return claim


@verb(permission="entryfund.decide_entryclaim", title="Ask for more")
def ask_for_more(*, claim: EntryClaim, question: str, by: User, on: date) -> EntryClaim:
    """Put a claim aside until the family has answered a question. It keeps its place by its number."""
    claim = _for_decision(claim, by)
    if claim.state == ClaimState.ASKED and claim.question == question.strip()[:200]:
        return claim
    if claim.state != ClaimState.ASKED:
        CLAIM.refuse_unless(claim.state, ClaimState.ASKED, "This request was decided already.")
    if not question.strip():
        raise Refused("Write what you would like to know or see.")
    claim.state, claim.question, claim.answer = ClaimState.ASKED, question.strip()[:200], ""
    claim.save(update_fields=["state", "question", "answer"])
    letters.tell_asked(claim, on)
    return claim


@verb(permission="entryfund.add_entryclaim", title="Note the family’s answer")
def answer_claim(
    *, claim: EntryClaim, answer: str, by: User, evidence: Evidence | None = None, entry_shown: bool | None = None
) -> EntryClaim:
    """The family, or whoever recorded the claim, answers what was asked; it waits for a decision again."""
    claim = EntryClaim.objects.select_for_update(of=("self",), no_key=True).get(pk=claim.pk)
    if claim.state == ClaimState.RECORDED:
        return claim
    CLAIM.refuse_unless(claim.state, ClaimState.RECORDED, "Nothing is asked about this request.")
    if not answer.strip() and evidence is None:
        raise Refused("Write an answer, or send what was asked for.")
    if evidence is not None:
        more = MoreEvidence(claim=claim, file_type=evidence.content_type, file_digest=evidence.digest, recorded_by=by)
        more.file.save("more", ContentFile(evidence.content), save=False)
        more.save()
    claim.state, claim.answer = ClaimState.RECORDED, answer.strip()[:200]
    claim.entry_shown = claim.entry_shown if entry_shown is None else entry_shown
    claim.save(update_fields=["state", "answer", "entry_shown"])
    return claim


def _for_decision(claim: EntryClaim, by: User) -> EntryClaim:
    return locked_for_decision(claim, by, "person", "event")


@verb(permission="entryfund.decide_entryclaim", title="Approve this refund")
def approve_claim(*, claim: EntryClaim, by: User, on: date) -> EntryClaim:
    """Approve a refund: the entry fund owes it to the household.

    Raises Refused for whoever recorded it or belongs to the household, a claim that fails a check (with the
    reason), one that was declined, and one that would overdraw the fund.
    """
    claim = _for_decision(claim, by)
    if claim.state in (ClaimState.APPROVED, ClaimState.PAID):
        return claim
    asked = "The family was asked for more and has not answered yet."
    declined = "This request was declined; record it again if that was wrong."
    CLAIM.refuse_unless(claim.state, ClaimState.APPROVED, asked if claim.state == ClaimState.ASKED else declined)
    if on < claim.claimed_on:
        raise Refused(f"It was asked for on {day_text(claim.claimed_on)}; it cannot be decided before.")
    failed = [check.sentence for check in selectors.checks_of(claim) if not check.passed]
    if failed:
        raise Refused(f"This request cannot be approved: {'; '.join(failed)}.")
    ledger.lock_book()
    ledger.refuse_overdrawing(FundRole.ENTRY, -cents_of(claim.amount))
    _refuse_out_of_turn(claim)
    claim.state, claim.decided_by, claim.decided_on = ClaimState.APPROVED, by, on
    claim.save(update_fields=["state", "decided_by", "decided_on"])
    ledger.post(
        source=claim,
        purpose="approve",
        on=on,
        narration=f"Entry fee refund approved: {claim.event} (request {claim.pk})",
        lines=posting.approved_lines(claim.amount, claim.household.party),
        by=by,
    )
    letters.tell_approved(claim, on)
    return claim


def _refuse_out_of_turn(claim: EntryClaim) -> None:
    """First come, first served: where the fund cannot cover all, an earlier claim that passes comes first."""
    left = selectors.entry_fund_balance() - claim.amount
    if left >= selectors.waiting_before(claim):
        return
    ahead = selectors.ahead_of(claim)
    if left < ahead:
        raise Refused(
            f"The fund does not cover the earlier requests as well: {shown(ahead)} was asked for before this one. "
            "Decide on those first, or put more into the fund."
        )


@verb(permission="entryfund.decide_entryclaim", title="Decline this request")
def decline_claim(*, claim: EntryClaim, reason: str, by: User, on: date) -> EntryClaim:
    """Decline a claim with a reason that the family can be told."""
    claim = _for_decision(claim, by)
    if claim.state == ClaimState.DECLINED:
        return claim
    CLAIM.refuse_unless(claim.state, ClaimState.DECLINED, "This request was approved already.")
    if not reason.strip():
        raise Refused("Give the reason in words that you would tell the family.")
    claim.state, claim.decided_by, claim.decided_on = ClaimState.DECLINED, by, on
    claim.decision_reason = reason.strip()[:200]
    claim.save(update_fields=["state", "decided_by", "decided_on", "decision_reason"])
    letters.tell_declined(claim, on)
    return claim


@verb(permission="bank.change_paymentrun", title="Record that an entry fee was paid back")
def pay_claim(*, claim: EntryClaim, on: date, by: User, reference: str = "") -> EntryClaim:
    """The refund went to the household by bank transfer. Raises Refused for a claim that is not approved.

    Who may let money go is the payment run's rule: one makes it and another releases it.
    """
    claim = locked(claim, "person", "event")
    return pay(
        claim,
        on=on,
        by=by,
        reference=reference,
        narration=f"Entry fee refund paid: {claim.event} (request {claim.pk})",
        lines=posting.paid_lines(claim.amount, claim.household.party),
    )


@verb(permission="bank.change_paymentrun", title="Record that the bank returned an entry fee")
def take_claim_back(*, claim: EntryClaim, on: date, by: User) -> EntryClaim:
    """The bank returned the payment; the claim waits to be paid again. Raises Refused for one that was not paid."""
    return take_payment_back(claim, on=on, by=by)


@dataclass(frozen=True)
class Decided:
    """What a round of approvals came to: the claims approved, and a sentence for each that was not."""

    approved: tuple[EntryClaim, ...]
    refused: tuple[str, ...]


def approve_claims(*, claims: Iterable[EntryClaim], by: User, on: date) -> Decided:
    """Approve several claims, first come first, each in a transaction of its own; one refused holds none back."""
    approved, refused = [], []
    for claim in sorted(claims, key=lambda each: each.pk):
        try:
            approved.append(approve_claim(claim=claim, by=by, on=on))
        except Refused as refusal:
            refused.append(f"{claim}: {refusal.sentence}")
    return Decided(tuple(approved), tuple(refused))


@verb(permission="entryfund.add_fundtransfer", title="Move money between funds")
def move_between_funds(
    *,
    from_fund: Fund,
    to_fund: Fund,
    amount: Money,
    minute: str,
    on: date,
    by: User,
    key: uuid.UUID | None = None,
) -> FundTransfer:
    """A committee moves money from one fund to another. Raises Refused where the first would be overdrawn."""
    ledger.lock_book()
    if found := ledger.written(FundTransfer, key):
        return found
    if from_fund == to_fund:
        raise Refused("Choose two different funds.")
    if not minute.strip():
        raise Refused("Write which meeting decided it.")
    document = FundTransfer.objects.create(
        key=key or uuid.uuid4(),
        from_fund=from_fund,
        to_fund=to_fund,
        amount=positive(amount),
        moved_on=on,
        minute=minute.strip()[:150],
        recorded_by=by,
    )
    ledger.post(
        source=document,
        purpose="moved",
        on=on,
        narration=f"Moved between funds, decided: {document.minute}",
        lines=posting.moved_lines(document.amount, from_fund, to_fund),
        by=by,
    )
    return document


REMIND_BEFORE = timedelta(days=14)


@verb(permission=NOBODY, title="Remind families of entries")
def remind_entries(*, on: date) -> list[Message]:
    """Write to each household of eligible children once before the entries of an event close."""
    told = []
    for event in selectors.events_closing(on, REMIND_BEFORE):
        homes: dict[int, list[Person]] = defaultdict(list)
        for child in selectors.eligible_children(event, on):
            homes[child.household_id].append(child)
        wanted = {letters.about_entries(event, pk): children for pk, children in homes.items()}
        due = untold(wanted)
        told += [letters.tell_entries(event, children) for about, children in wanted.items() if about in due]
    return told
