"""Explaining lines of a statement: by entries that stand, by documents that are made for them; and undoing it."""

import uuid
from collections.abc import Sequence
from datetime import date

from django.contrib.auth.models import User

from clubdesk.bank import posting
from clubdesk.bank.models import (
    BankAccount,
    BankRule,
    ClearedLine,
    ClearedPosting,
    Clearing,
    HowSure,
    PaymentItem,
    StatementLine,
)
from clubdesk.bank.services.runs import record_paid
from clubdesk.bank.services.statements import settle_cards
from clubdesk.errors import Refused
from clubdesk.fees.models import Charge, Lodgement, Method
from clubdesk.fees.services import record_lodgement_paid, record_receipt
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Posting
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount, shown, total
from clubdesk.verbs import verb


@verb(permission="bank.change_statementline", title="Explain lines of a statement")
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
        raise Refused("Choose what explains the line.")
    if any(line.bank_account_id != account.pk for line in lines):
        raise Refused("The lines are of several accounts.")
    if any(posting.account_id != account.account_id for posting in postings):
        raise Refused("That entry is of another account.")
    if ClearedLine.objects.filter(line__in=lines, stands=True).exists():
        raise Refused("This line is explained already.")
    if ClearedPosting.objects.filter(posting__in=postings, stands=True).exists():
        raise Refused("That entry explains another line already.")
    stated, booked = total(line.amount for line in lines), total(posting.amount for posting in postings)
    if stated != booked:
        raise Refused(f"The statement says {shown(stated)} and what explains it {shown(booked)}.")
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


def locked(pk: int | None) -> BankAccount:
    if pk is None:
        raise Refused("Choose a line of the statement.")
    return BankAccount.objects.select_for_update(of=("self",), no_key=True).get(pk=pk)


@verb(permission="bank.change_statementline", title="Undo this clearing")
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


@verb(permission="bank.change_statementline", title="Explain this line")
def explain_line(*, line: StatementLine, posting: Posting, by: User) -> Clearing:
    """Say which line of the ledger a statement line is. Raises Refused for another amount or account."""
    for found in Clearing.objects.filter(undone_on=None, lines__line=line, postings__posting=posting):
        return found
    return clear(lines=[line], postings=[posting], reasons="chosen by hand", by=by)


@verb(permission="bank.change_statementline", title="Take an answer to what a line is")
def accept(
    *, lines: Sequence[StatementLine], answer: Sequence[str], reasons: str, how_sure: HowSure, by: User
) -> Clearing:
    """Take an answer to what explains the lines: make the documents that are missing, by their verbs, and clear.

    `answer` names what it is made of, as `bank.expected` does: "posting 12", "charge 7", "lodgement 3", "item 9",
    "cards 120.50" or "rule 4". Raises Refused where any of it is no longer so; then nothing is saved.
    """
    locked(lines[0].bank_account_id if lines else None)
    postings: list[Posting] = []
    parts = sorted(_parted(each) for each in answer)
    known = [pk for kind, pk in parts if kind == "posting"]
    postings += list(Posting.objects.filter(pk__in=known).select_related("entry"))
    made = [part for part in parts if part[0] != "posting"]
    if made:
        postings += _made(made, lines, by)
    return clear(lines=lines, postings=postings, reasons=reasons, how_sure=how_sure, by=by)


def _parted(name: str) -> tuple[str, str]:
    kind, _, pk = name.partition(" ")
    return kind, pk


def _made(parts: Sequence[tuple[str, str]], lines: Sequence[StatementLine], by: User) -> list[Posting]:
    """The bank's postings of the documents that are made for the lines, dated by the statement."""
    kind, numbers, line = parts[0][0], [pk for _, pk in parts], lines[0]
    if kind == "charge":
        return _received(list(Charge.objects.filter(pk__in=numbers)), lines, by)
    if kind == "lodgement":
        lodgement = record_lodgement_paid(lodgement=Lodgement.objects.get(pk=numbers[0]), on=line.date, by=by)
        return _bank_postings(lodgement, line)
    if kind == "item":
        items = list(PaymentItem.objects.filter(pk__in=numbers).select_related("run"))
        record_paid(run=items[0].run, items=items, on=line.date, by=by)
        found = PaymentItem.objects.filter(pk__in=numbers).select_related("claim", "expense", "repayment")
        return [posting for item in found for posting in _bank_postings(item.document, line)]
    if kind == "cards":
        takings = as_amount(numbers[0])
        settled = settle_cards(takings=takings, fee=takings - line.amount, on=line.date, by=by)
        return _bank_postings(settled, line)
    if kind == "rule":
        return [_by_rule(BankRule.objects.get(pk=numbers[0]), line, by)]
    raise Refused("That answer is not known.")


def _received(charges: Sequence[Charge], lines: Sequence[StatementLine], by: User) -> list[Posting]:
    """A receipt a line; what is beyond the fees stays as the family's credit."""
    if not charges:
        raise Refused("That fee is not there any more.")
    found = []
    for line in lines:
        receipt = record_receipt(
            household=charges[0].household, amount=line.amount, method=Method.TRANSFER, on=line.date, by=by,
            reference=line.text[:60], charges=charges,
        )  # fmt: skip
        found += _bank_postings(receipt, line)
    return found


def _bank_postings(document: object, line: StatementLine) -> list[Posting]:
    """What of the document's standing entries is in the line's account and explains nothing yet."""
    entries = entries_of(document).filter(reversed_by=None)  # type: ignore[arg-type]
    rows = Posting.objects.filter(entry__in=entries, account_id=line.bank_account.account_id)
    return list(rows.exclude(clearings__stands=True))


def _by_rule(rule: BankRule, line: StatementLine, by: User) -> Posting:
    if not rule.in_use or not rule.catches(line.text, line.amount):
        raise Refused(f"The rule “{rule}” does not speak of this line any more.")
    account = line.bank_account.account
    journal = ledger.record_journal(
        on=line.date,
        narration=rule.name,
        lines=posting.rule_lines(line.amount, account, rule.account, rule.party, rule.fund),
        by=by,
    )
    return next(iter(_bank_postings(journal, line)))
