"""What this room holds about people."""

from collections.abc import Iterator, Sequence

from django.db.models import QuerySet

from clubdesk.bank.models import Clearing, ItemState, PaymentItem, StatementLine
from clubdesk.ledger.models import Posting
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Erase, Personal, Told

EXPLAINED_BY = "postings__posting__entry__postings__party__household"
"""From a clearing to the families whose entries it joins to lines of the bank."""


def _told(home: Household) -> Iterator[Sequence[object]]:
    for details in home.bank_details.all():
        yield (details.noted_on, "Bank details", f"{details.masked} ({details.reason})", None)
    for item in home.payments.select_related("run"):
        words = f"{item.what}, run {item.run.number}: {item.get_state_display()} {item.reason}".strip()
        yield (item.paid_on, "Payment", words, item.amount.amount)
    own = _clearings_of(home)
    for line in StatementLine.objects.filter(clearings__clearing__in=own).distinct().order_by("date", "pk"):
        yield (line.date, "Bank line", line.text, line.amount.amount)
    for pair in own.exclude(why_never=""):
        yield (pair.settled_on, "Never at the bank", pair.why_never, None)
    for undone in own.exclude(undone_on=None):
        yield (undone.undone_on, "Undone", undone.undo_reason, None)


def _clearings_of(home: Household) -> QuerySet[Clearing]:
    """Clearings of this family's money alone: one that joins several families' is told to none of them."""
    others = Posting.objects.filter(party__household__isnull=False).exclude(party__household=home)
    joining = Clearing.objects.filter(**{EXPLAINED_BY: home})
    return joining.exclude(postings__posting__entry__postings__in=others).distinct()


def owed(person: Person, *, is_last: bool, on: object) -> str:
    """Why the details of the last of a family stay: a payment to it waits in a run."""
    if is_last and PaymentItem.objects.filter(household=person.household, state=ItemState.WAITING).exists():
        return f"A payment run still pays {person.household} something; record that it was paid, or leave it out."
    return ""


PERSONAL = (
    Personal(
        "bank.BankDetails",
        family="household",
        # The number first: the database lets the rest of a row change only where that is gone.
        erased=(Erase("account_number", ""), Erase("bsb", ""), Erase("title"), Erase("reason")),
        told=("title", "account_number", "reason"),
        retained_from=("noted_on",),
    ),
    Personal(
        "bank.PaymentItem",
        family="household",
        erased=(Erase("reason"),),
        told=("reason",),
        retained_from=("paid_on", "ended_on"),
    ),
    Personal(
        "bank.PaymentRun",
        family="items__household",
        erased=(Erase("withdraw_reason"),),
    ),
    Personal(
        "bank.StatementLine",
        family=f"clearings__clearing__{EXPLAINED_BY}",
        erased=(Erase("text"),),
        told=("text",),
        free={"bank_id": "the number by which the bank knows the line"},
    ),
    Personal(
        "bank.Clearing",
        family=EXPLAINED_BY,
        erased=(Erase("undo_reason"), Erase("why_never")),
        told=("undo_reason", "why_never"),
        free={"reasons": "how the line and the entry are alike, without their names"},
    ),
)
TOLD = (Told("Payments", (("Day", 14), ("What", 16), ("Words", 70), ("Amount", 14)), _told, amounts="D"),)
