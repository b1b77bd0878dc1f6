"""Lines of a statement matched with entries that stand; and undoing it."""

import uuid
from collections.abc import Sequence
from datetime import date

from django.contrib.auth.models import User

from clubdesk.bank.models import (
    BankAccount,
    ClearedLine,
    ClearedPosting,
    Clearing,
    HowSure,
    StatementLine,
)
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Posting
from clubdesk.money import shown, total
from clubdesk.verbs import verb


@verb(permission="bank.change_statementline", title="Match lines of a statement")
def clear(
    *,
    lines: Sequence[StatementLine],
    postings: Sequence[Posting],
    reasons: str,
    by: User,
    how_sure: HowSure = HowSure.BY_HAND,
    key: uuid.UUID | None = None,
) -> Clearing:
    """Say that these lines and these entries are the same money.

    Raises Refused where they are of several accounts, come to different sums, or are explained already.
    """
    account = locked(lines[0].bank_account_id if lines else None)
    if found := ledger.written(Clearing, key):
        return found
    if not postings:
        raise Refused("Choose what the line is.")
    if any(line.bank_account_id != account.pk for line in lines):
        raise Refused("The lines are of several accounts.")
    if any(posting.account_id != account.account_id for posting in postings):
        raise Refused("That entry is of another account.")
    if ClearedLine.objects.filter(line__in=lines, stands=True).exists():
        raise Refused("This line is matched already.")
    if ClearedPosting.objects.filter(posting__in=postings, stands=True).exists():
        raise Refused("That entry is matched with another line already.")
    stated, booked = total(line.amount for line in lines), total(posting.amount for posting in postings)
    if stated != booked:
        raise Refused(f"The statement says {shown(stated)} and what matches it {shown(booked)}.")
    document = Clearing(
        key=key or uuid.uuid4(), bank_account=account, how_sure=how_sure, reasons=reasons.strip()[:300], recorded_by=by
    )
    return join(document, lines=lines, postings=postings)


def join(document: Clearing, *, lines: Sequence[StatementLine] = (), postings: Sequence[Posting] = ()) -> Clearing:
    """Write the clearing with what it joins; the database finds both sides to be the same sum."""
    document.save()
    ClearedLine.objects.bulk_create(ClearedLine(clearing=document, line=line) for line in lines)
    ClearedPosting.objects.bulk_create(ClearedPosting(clearing=document, posting=each) for each in postings)
    document.complete = True
    document.save(update_fields=["complete"])
    return document


def day_in_the_book(line: StatementLine) -> date:
    """The line's own day; where its month is locked, the first open day after it, as what is found out late."""
    return ledger.open_day_now(line.date)


def locked(pk: int | None, *also: int) -> BankAccount:
    """The account, held; and others that are held with it, all in the order of their ids."""
    if pk is None:
        raise Refused("Choose a line of the statement.")
    rows = BankAccount.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=[pk, *also])
    return {each.pk: each for each in rows.order_by("pk")}[pk]


@verb(permission="bank.change_statementline", title="Undo this match")
def undo_clearing(*, clearing: Clearing, on: date, reason: str, by: User) -> Clearing:
    """What it joins was not the same money: it is free again. What was posted stays as it is."""
    locked(clearing.bank_account_id)
    document = Clearing.objects.get(pk=clearing.pk)
    if document.undone_on:
        return document
    signed = document.bank_account.reconciliations.filter(reopened_on=None).order_by("month_end").last()
    settled = signed and document.settled_on and document.settled_on <= signed.month_end
    if signed and (settled or document.lines.filter(line__date__lte=signed.month_end).exists()):
        raise Refused(f"{signed.month_end:%B %Y} is signed off; open the month first.")
    if not reason.strip():
        raise Refused("Say why it is undone.")
    document.undone_on, document.undone_by, document.undo_reason = on, by, reason.strip()[:150]
    document.save(update_fields=["undone_on", "undone_by", "undo_reason"])
    document.lines.update(stands=False)
    document.postings.update(stands=False)
    return document


@verb(permission="bank.change_statementline", title="Match with an entry")
def explain_line(*, line: StatementLine, posting: Posting, by: User) -> Clearing:
    """Say which line of the ledger a statement line is. Raises Refused for another amount or account."""
    for found in Clearing.objects.filter(undone_on=None, lines__line=line, postings__posting=posting):
        return found
    return clear(lines=[line], postings=[posting], reasons="chosen by hand", by=by)
