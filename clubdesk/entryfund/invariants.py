"""What must always be true of the entry fund."""

from collections.abc import Iterator

from django.db.models import Count, F

from clubdesk.entryfund import selectors
from clubdesk.entryfund.models import ClaimState, ContainerReturn, EntryClaim, MoreEvidence
from clubdesk.evidence import fault_of_stored
from clubdesk.fees.selectors import decided_for_their_family
from clubdesk.ledger.invariants import invariant, party_differences
from clubdesk.ledger.models import Role


@invariant("Refunds payable equals approved and unpaid refund requests, family by family")
def refunds_payable_holds() -> Iterator[str]:
    yield from party_differences(Role.REFUNDS_PAYABLE, selectors.payable_detail(), credit=True)


@invariant("One standing refund request a junior and event")
def claims_stand_once() -> Iterator[str]:
    standing = EntryClaim.objects.exclude(state=ClaimState.DECLINED).values("person", "event")
    for row in standing.annotate(times=Count("pk")).filter(times__gt=1).order_by():
        yield f"Person {row['person']} has {row['times']} refund requests for event {row['event']}."


@invariant("Nobody decided a refund request of a family that they belonged to when it was made or since")
def nobody_decided_for_their_family() -> Iterator[str]:
    for claim in decided_for_their_family(EntryClaim).select_related("person", "event", "decided_by", "household"):
        yield f"{claim.decided_by} belongs or belonged to {claim.household} and decided the refund request {claim}."


@invariant("Nobody decided what they recorded")
def nobody_decided_their_own() -> Iterator[str]:
    decided = EntryClaim.objects.exclude(decided_by=None).select_related("person", "event", "decided_by")
    for claim in decided.filter(decided_by=F("recorded_by")):
        yield f"{claim.decided_by} recorded and decided the refund request {claim}."


@invariant("Each receipt is the file that was uploaded, until its person is erased")
def evidence_holds() -> Iterator[str]:
    for claim in EntryClaim.objects.filter(person__erased_on=None).select_related("person", "event"):
        if fault := fault_of_stored(claim.receipt, claim.receipt_digest):
            yield f"The receipt of {claim} {fault}."
    for more in MoreEvidence.objects.filter(claim__person__erased_on=None).select_related("claim__person"):
        if fault := fault_of_stored(more.file, more.file_digest):
            yield f"{more} {fault}."
    for cashed_in in ContainerReturn.objects.exclude(receipt=""):
        if fault := fault_of_stored(cashed_in.receipt, cashed_in.receipt_digest):
            yield f"The depot's receipt of {cashed_in} {fault}."
