"""The journal, entry by entry, and the ledger, account by account with running balances."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from clubdesk.ledger.models import Account, FinancialYear
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports import selectors
from clubdesk.reports.sheets import Formula, Named

if TYPE_CHECKING:
    from clubdesk.reports.workbook.book import TreasurersWorkbook

CLOSING = "closing"
JOURNAL_KINDS = ("number", "date", "text", "text", "name", "name", "name", "amount", "amount", "text")
LEDGER_KINDS = ("number", "date", "text", "name", "name", "amount", "amount", "formula", "text")


def write_journal(w: TreasurersWorkbook) -> None:
    header = ["Entry", "Date", "Narration", "Code", "Account", "Fund", "Who", "Debit", "Credit", "Kind"]
    w.at.journal_first = w.journal.top("Journal", w.note("Every line of every entry."), header) + 1
    w.at.journal_last = w.journal.stream(journal_rows(w.year), JOURNAL_KINDS)


def journal_rows(year: FinancialYear, until: int | None = None) -> Iterator[tuple[Any, ...]]:
    """Every line of the year in the order of entry numbers, of those up to `until` where one is given."""
    lines = selectors.lines_of_year(year)
    if until is not None:
        lines = lines.filter(entry__number__lte=until)
    rows = lines.iterator(chunk_size=2000)
    for number, on, text, code, name, fund, who, amount, closing, reverses, by_hand in rows:
        debit, credit = (amount, None) if amount > 0 else (None, -amount)
        yield number, on, text, code, name, fund, who, debit, credit, kind_of(closing, reverses, by_hand)


def write_ledger(w: TreasurersWorkbook) -> None:
    sheet = w.ledger
    header = ["Entry", "Date", "Narration", "Fund", "Who", "Debit", "Credit", "Balance", "Kind"]
    note = "Each account with its running balance, debit positive; closing entries left out."
    sheet.top("Ledger by account", w.note(note), header)
    rows = selectors.lines_by_account(w.year).iterator(chunk_size=2000)
    by_account = groupby(rows, key=itemgetter(0))
    waiting = next(by_account, None)
    for account in w.accounts:
        lines: Iterator[Any] = iter(())
        if waiting and waiting[0] == account.pk:
            lines = waiting[1]
        _write_account(w, account, lines)
        if waiting and waiting[0] == account.pk:
            waiting = next(by_account, None)
    w.ledger.blank()


def _write_account(w: TreasurersWorkbook, account: Account, lines: Iterator[Any]) -> None:
    sheet = w.ledger
    w.at.ledger_headings[account.pk] = sheet.heading(Named(f"{account.code} {account.name}", account.name))
    opening = w.figures.figure(w.figures.opening, account)
    sheet.line([None, w.year.first_day, "Opening balance", None, None, None, None, opening, None])
    sheet.stream(_running(sheet.row, opening, lines), LEDGER_KINDS)
    closing = Formula(f"=ROUND(H{sheet.row},2)", w.figures.closing(account))
    w.at.ledger_closings[account.pk] = sheet.total([None, w.year.last_day, "Closing balance", *[None] * 4, closing])
    sheet.blank()


def _running(row: int, balance: Decimal, lines: Iterator[Any]) -> Iterator[tuple[Any, ...]]:
    for _, number, on, text, fund, who, amount, reverses, by_hand in lines:
        debit, credit = (amount, None) if amount > 0 else (None, -amount)
        row += 1
        balance += amount
        running = Formula(f"=H{row - 1}+F{row}-G{row}", balance)
        yield number, on, text, fund, who, debit, credit, running, kind_of(False, reverses, by_hand)


def kind_of(closing: bool, reverses: int | None, by_hand: bool) -> str | None:
    """What the journal says of an entry that is not an ordinary one."""
    if closing:
        return CLOSING
    if reverses:
        return f"undoes {reverses}"
    return "by hand" if by_hand else None


def turnover(year: FinancialYear) -> dict[int, tuple[Decimal, Decimal]]:
    """What was debited and credited in the year, by the account's id; closing entries left out."""
    return {pk: (debits, -credits + ZERO) for pk, debits, credits in selectors.turnover(year)}
