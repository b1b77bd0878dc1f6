"""What this room holds about people."""

from collections.abc import Iterator, Sequence

from clubdesk.entryfund.models import ClaimState, EntryClaim
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Erase, Personal, Told

OF_A_FILE = {"receipt_type": "what kind of file it was", "receipt_digest": "of a file that is gone by then"}


def _told(home: Household) -> Iterator[Sequence[object]]:
    for claim in home.entry_claims.select_related("person", "event"):
        said = (("asked", claim.question), ("answered", claim.answer), ("decided", claim.decision_reason))
        words = "; ".join(f"{what}: {text}" for what, text in said if text)
        yield (claim.claimed_on, str(claim), claim.get_state_display(), claim.amount.amount, words)
        for more in claim.more.all():
            yield (more.recorded_at.date(), str(more), "A file", None, "")


def owed(person: Person, *, is_last: bool, on: object) -> str:
    """Why the details of the last of a family stay: the fund has approved a refund and not paid it yet."""
    if is_last and EntryClaim.objects.filter(household=person.household, state=ClaimState.APPROVED).exists():
        return f"The club still owes {person.household} an entry fee; pay it first."
    return ""


PERSONAL = (
    Personal(
        "entryfund.EntryClaim",
        person="person",
        family="household",
        erased=(Erase("question"), Erase("answer"), Erase("decision_reason"), Erase("receipt", is_file=True)),
        told=("question", "answer", "decision_reason"),
        retained_from=("claimed_on", "decided_on", "paid_on"),
        free={
            "payment_reference": "the run's number, or what the treasurer's bank calls the payment",
            "upload_digest": "of a file that is gone by then",
            **OF_A_FILE,
        },
    ),
    Personal(
        "entryfund.MoreEvidence",
        person="claim__person",
        family="claim__household",
        erased=(Erase("file", is_file=True),),
        free={"file_type": OF_A_FILE["receipt_type"], "file_digest": OF_A_FILE["receipt_digest"]},
    ),
)
TOLD = (
    Told(
        "Entry refunds",
        (("Day", 14), ("Who and event", 60), ("State", 18), ("Amount", 14), ("Words", 70)),
        _told,
        amounts="D",
    ),
)
