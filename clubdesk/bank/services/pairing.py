"""What the bank never shows, or takes back itself: two entries, or two lines, matched with each other."""

import uuid
from collections.abc import Sequence
from datetime import date, timedelta

from django.contrib.auth.models import User

from clubdesk.bank.models import BankAccount, ClearedLine, ClearedPosting, Clearing, HowSure, StatementLine
from clubdesk.bank.posting import held_lines
from clubdesk.bank.services.clearing import clear, day_in_the_book, join, locked
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Posting
from clubdesk.ledger.selectors import entries_of, month_end
from clubdesk.money import nil, shown
from clubdesk.verbs import verb


@verb(permission="bank.change_statementline", title="Match with another entry")
def match_entries(*, posting: Posting, other: Posting, reason: str, by: User, key: uuid.UUID | None = None) -> Clearing:
    """Say that two entries of one bank account cancel each other and that the bank never shows either.

    They are on their way until the later of their days, or, where a month is signed off with them on their way, until
    that month is over. Raises Refused for entries of different accounts or amounts, that are matched already, and
    without a reason.
    """
    account = BankAccount.objects.filter(account=posting.account_id).first()
    if account is None or other.account_id != posting.account_id:
        raise Refused("Two entries of one bank account are matched with each other.")
    account = locked(account.pk)
    if found := ledger.written(Clearing, key):
        return found
    pair = [posting, other]
    if posting.amount + other.amount != nil():
        raise Refused("Two entries are matched where one put in what came out by the other, to the cent.")
    if ClearedPosting.objects.filter(posting__in=pair, stands=True).exists():
        raise Refused("One of the two is matched already.")
    if not reason.strip():
        raise Refused("Say why the bank never shows these two.")
    document = Clearing(
        key=key or uuid.uuid4(),
        bank_account=account,
        how_sure=HowSure.BY_HAND,
        reasons="the two cancel each other, and the bank shows neither",
        why_never=reason.strip()[:150],
        settled_on=_settled_on(account, pair),
        recorded_by=by,
    )
    return join(document, postings=pair)


@verb(permission="bank.change_statementline", title="Match with the bank’s correction")
def match_correction(
    *,
    lines: Sequence[StatementLine],
    by: User,
    reasons: str = "the bank put its own line right",
    how_sure: HowSure = HowSure.BY_HAND,
    key: uuid.UUID | None = None,
) -> Clearing:
    """Say that the bank took a line of its own back by a second one; the book has neither.

    Where a month ends between them the bank's balance has what is not the club's: then it stands under what is not
    explained yet from the one day to the other. Raises Refused for lines that do not cancel each other.
    """
    account = locked(lines[0].bank_account_id if lines else None)
    if found := ledger.written(Clearing, key):
        return found
    if len(lines) != 2 or lines[0].bank_account_id != lines[1].bank_account_id:
        raise Refused("Choose a line of the account and the one that undoes it.")
    first, second = sorted(lines, key=lambda line: (line.date, line.pk))
    if first.amount + second.amount != nil():
        raise Refused(f"{shown(first.amount)} and {shown(second.amount)} do not cancel each other.")
    if ClearedLine.objects.filter(line__in=lines, stands=True).exists():
        raise Refused("This line is matched already.")
    document = Clearing(
        key=key or uuid.uuid4(), bank_account=account, how_sure=how_sure, reasons=reasons.strip()[:300], recorded_by=by
    )
    if month_end(first.date) == month_end(second.date):
        return join(document, lines=[first, second])
    return _held_between(document, first, second)


def _held_between(document: Clearing, first: StatementLine, second: StatementLine) -> Clearing:
    """Each line matched with an entry of its own day, the second of which undoes the first."""
    by, bank = document.recorded_by, document.bank_account.account
    held = ledger.record_journal(
        on=day_in_the_book(first), narration="A mistake of the bank’s", lines=held_lines(first.amount, bank), by=by
    )
    ledger.reverse_journal(journal=held, on=day_in_the_book(second), reason="the bank put it right", by=by)
    entry = entries_of(held).get()
    clear(
        lines=[first], postings=[entry.postings.get(account=bank)], reasons=document.reasons, by=by,
        how_sure=HowSure(document.how_sure),
    )  # fmt: skip
    return join(document, lines=[second], postings=[entry.reversed_by.postings.get(account=bank)])


def _settled_on(account: BankAccount, pair: list[Posting]) -> date:
    """The later of their days, but after the last month that was signed off with them as they were."""
    signed = account.reconciliations.filter(reopened_on=None).order_by("month_end").last()
    days = [each.entry.date for each in pair]
    return max([*days, signed.month_end + timedelta(days=1)] if signed else days)
