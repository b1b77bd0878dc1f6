"""Journals: what is written by hand or read from a file, and undone by hand or on its day."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence, attach
from clubdesk.ledger import selectors
from clubdesk.ledger.models import (
    YEARLY_KINDS,
    Account,
    FinancialYear,
    Fund,
    Journal,
    JournalOrigin,
    Kind,
    Party,
    Posting,
    Role,
)
from clubdesk.ledger.posting import Line
from clubdesk.ledger.services.book import lock_book, written
from clubdesk.ledger.services.posting import accounts_of, post
from clubdesk.ledger.services.reversing import reverse
from clubdesk.money import positive
from clubdesk.verbs import NOBODY, verb

LONGEST_UNTIL_UNDONE = timedelta(days=397)
"""A year and a month: what is undone later than that was mistyped."""
HAVE_OWN_DOCUMENTS = (Role.FEES_OWED, Role.REFUNDS_PAYABLE)
"""What families owe and are owed is kept by its own documents; a journal would put the account out of step."""


@verb(permission="ledger.add_journal", title="Write a journal")
def record_journal(
    *,
    on: date,
    narration: str,
    lines: Iterable[Line],
    by: User,
    origin: JournalOrigin = JournalOrigin.HAND,
    reference: str = "",
    file_digest: str = "",
    reverse_on: date | None = None,
    evidence: Evidence | None = None,
    key: uuid.UUID | None = None,
) -> Journal:
    """Write a manual journal and post it; on `reverse_on` it is undone by itself. `evidence` is kept with it.

    Raises Refused as `post` does, for an empty narration, for accounts whose detail another room keeps, and against
    Accumulated funds where a page of its own writes that.
    """
    if not narration.strip():
        raise Refused("Say in a few words what the journal is for.")
    if reverse_on and not on < reverse_on <= on + LONGEST_UNTIL_UNDONE:
        raise Refused(
            f"It can be undone by itself from {day_text(on + timedelta(days=1))}"
            f" to {day_text(on + LONGEST_UNTIL_UNDONE)}, so within thirteen months; look at the date."
        )
    lock_book()
    if found := written(Journal, key):
        return found
    lines = list(lines)
    _refuse_accumulated(lines)
    journal = Journal(
        key=key or uuid.uuid4(),
        date=on,
        narration=narration.strip()[:300],
        origin=origin,
        reference=reference,
        file_digest=file_digest,
        reverse_on=reverse_on,
        recorded_by=by,
    )
    _write(journal, lines, evidence)
    if reverse_on and reverse_on <= clock.today():
        reverse_as_dated(journal=journal, by=by)
    return journal


@verb(permission="ledger.add_journal", title="Record the opening balances")
def record_opening(
    *,
    narration: str,
    lines: Iterable[Line],
    by: User,
    evidence: Evidence | None = None,
    key: uuid.UUID | None = None,
) -> Journal:
    """Write what the club had and owed the day before the first year of its book, and post it for that day.

    Whatever day it is typed on, no year counts it as received, earned or spent. Raises Refused as `post` does, for
    income or expense, for a balance that was brought in already, and once the first month is locked.
    """
    if not narration.strip():
        raise Refused("Say in a few words where the balances come from.")
    lock_book()
    if found := written(Journal, key):
        return found
    lines = list(lines)
    _refuse_what_a_year_counts(lines)
    _refuse_brought_in_twice(lines)
    journal = Journal(
        key=key or uuid.uuid4(),
        date=selectors.opening_day(),
        narration=narration.strip()[:300],
        origin=JournalOrigin.OPENING,
        recorded_by=by,
    )
    _write(journal, lines, evidence)
    return journal


def _write(journal: Journal, lines: list[Line], evidence: Evidence | None) -> None:
    _refuse_what_has_own_documents(lines)
    if evidence:
        attach(journal, evidence)
    journal.save()
    post(
        source=journal, purpose="journal", on=journal.date, narration=journal.narration, lines=lines,
        by=journal.recorded_by, is_opening=journal.origin == JournalOrigin.OPENING,
    )  # fmt: skip


def _refuse_what_a_year_counts(lines: Sequence[Line]) -> None:
    for account in accounts_of(lines):
        if account.kind in YEARLY_KINDS:
            raise Refused(
                f"{account} counts from the first day of a year, so it has no opening balance. Record what the club"
                " had and owed the day before; months of this year that were kept elsewhere come in as journals."
            )


def _role_of(line: Line) -> str | None:
    return line.account if isinstance(line.account, Role) else line.account.role


def _refuse_what_has_own_documents(lines: Iterable[Line]) -> None:
    for line in lines:
        role = _role_of(line)
        if role in HAVE_OWN_DOCUMENTS:
            raise Refused(f"{selectors.account(Role(role))} is kept family by family; use the page of what happened.")


def _refuse_accumulated(lines: Sequence[Line]) -> None:
    """What is of earlier years has a page of its own: its opening, while the first month is open, and the correction of
    a year that is closed. The difference to an opening that stands is written as a journal meanwhile.
    """
    if not any(_role_of(line) == Role.ACCUMULATED for line in lines):
        return
    if FinancialYear.objects.exclude(closed_at=None).exists():
        raise Refused(
            "No journal is written against Accumulated funds: record what a closed year got wrong on the page “An error"
            " of an earlier year”, with the year and its document."
        )
    both = zip(lines, accounts_of(lines), strict=True)
    others = {(account.pk, line.fund_code) for line, account in both if account.kind != Kind.EQUITY}
    if selectors.still_opens() and not others <= _brought_in():
        raise Refused(
            "No journal is written against Accumulated funds: record what was there before this book began on the page"
            " “Record the opening balances”."
        )


def _brought_in() -> set[tuple[int, str]]:
    """The accounts and funds whose opening balance stands."""
    opening = Journal.objects.filter(origin=JournalOrigin.OPENING).values("pk")
    rows = Posting.objects.filter(
        entry__source_type=selectors.source_type(Journal), entry__source_id__in=opening, entry__reversed_by=None,
        entry__purpose="journal",
    ).exclude(account__kind=Kind.EQUITY)  # fmt: skip
    return set(rows.values_list("account", "fund"))


def _refuse_brought_in_twice(lines: Sequence[Line]) -> None:
    """Each balance of an account and fund is brought in once; Accumulated funds take what remains each time."""
    stands = _brought_in()
    for line, account in zip(lines, accounts_of(lines), strict=True):
        if (account.pk, line.fund_code) in stands:
            raise Refused(
                f"The opening balance of {account} was brought in already; reverse that journal first, or write the"
                " difference as a journal."
            )


@verb(permission="ledger.add_journal", title="An error of an earlier year")
def correct_earlier_year(
    *,
    year: FinancialYear,
    narration: str,
    account: Account,
    amount: Money,
    is_debit: bool,
    on: date,
    by: User,
    evidence: Evidence,
    fund: Fund,
    party: Party | None = None,
    key: uuid.UUID | None = None,
) -> Journal:
    """Put an account right for what a closed year got wrong, against Accumulated funds: no income or expense of now.

    `amount` is above nil; `is_debit` where the club has more, or owes less, than its books say. The statements tell it
    on a line of its own. Source: IAS 8, paragraph 42 (from memory), without printing the earlier year anew. Raises
    Refused for a year that is not closed, and as `post` does.
    """
    if not narration.strip():
        raise Refused("Say what was wrong.")
    if not FinancialYear.objects.get(pk=year.pk).is_closed:
        raise Refused(f"{year} is still open: undo what is wrong in it, and write what is right.")
    if account.kind == Kind.EQUITY:
        raise Refused(f"{account} takes the other side by itself; choose the account that was wrong.")
    lock_book()
    if found := written(Journal, key):
        return found
    wrong = Line(account, positive(amount) if is_debit else -positive(amount), party, fund)
    journal = Journal(
        key=key or uuid.uuid4(),
        date=on,
        narration=narration.strip()[:300],
        origin=JournalOrigin.CORRECTION,
        corrects_year=year,
        recorded_by=by,
    )
    _write(journal, [wrong, Line(Role.ACCUMULATED, -wrong.amount, None, fund)], evidence)
    return journal


@verb(permission=NOBODY, title="Undo a journal on its day")
def reverse_as_dated(*, journal: Journal, by: User) -> Journal:
    """Undo a journal on the day that was set when it was written; one that was reversed before stays as it is."""
    if journal.reverse_on is None:
        raise Refused(f"{journal} has no day on which it is reversed.")
    for entry in selectors.entries_of(journal).filter(reversed_by=None):
        reverse(entry=entry, on=journal.reverse_on, reason="as dated when it was written", by=by)
    return journal


@verb(permission="ledger.change_journal", title="Reverse this journal")
def reverse_journal(*, journal: Journal, on: date, reason: str, by: User) -> Journal:
    """Undo a journal that was wrong. Raises Refused before its own day, and where it was undone already."""
    standing = selectors.entries_of(journal).filter(reversed_by=None)
    if not standing:
        raise Refused(f"{journal} was undone already.")
    for entry in standing:
        reverse(entry=entry, on=on, reason=reason, by=by)
    return journal


def reverse_due(*, on: date, by: User) -> list[str]:
    """Undo each journal whose day has come by `on`; returns a sentence for each that could not be."""
    refused = []
    for journal in selectors.journals_to_reverse(on):
        try:
            reverse_as_dated(journal=journal, by=by)
        except Refused as refusal:
            refused.append(f"{journal}: {refusal.sentence}")
    return refused
