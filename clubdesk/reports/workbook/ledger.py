"""The ledger, account by account with running balances."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from operator import itemgetter
from typing import Any

from clubdesk.ledger.models import Account
from clubdesk.reports import selectors
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.journal import kind_of
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term

LOOK = Look(
    "Ledger by account",
    (
        Heading("Entry", 8, "number"), Heading("Date", 13, "date"), Heading("Narration", 62),
        Heading("Fund", 15, "name"), Heading("Who", 32, "name"), Heading("Debit", 14, "amount"),
        Heading("Credit", 14, "amount"), Heading("Balance", 15, "formula"), Heading("Kind", 11),
    ),
    landscape=True,
)  # fmt: skip


@dataclass(frozen=True)
class LedgerAt:
    """By the account's id the place of its heading, and its closing balance, debit positive; and the lines' number."""

    headings: Mapping[int, str]
    closings: Mapping[int, Term]
    count: Term


def write(context: Context, sheet: Sheet) -> LedgerAt:
    note = "Each account with its running balance, debit positive; closing entries left out."
    first = sheet.top(context.note(note)) + 1
    by_account = groupby(selectors.lines_by_account(context.year).iterator(chunk_size=2000), key=itemgetter(0))
    headings, closings = dict[int, str](), dict[int, Term]()
    waiting = next(by_account, None)
    for account in context.accounts:
        headings[account.pk] = sheet.at("A", sheet.heading(Named(f"{account.code} {account.name}", account.name)))
        if waiting and waiting[0] == account.pk:
            closings[account.pk] = _write_account(context, sheet, account, waiting[1])
            waiting = next(by_account, None)
        else:
            closings[account.pk] = _write_account(context, sheet, account, iter(()))
    sheet.blank()
    # of each account four rows are no lines: its heading, its opening and closing, and the blank one below
    lines = sheet.row - first - 4 * len(context.accounts)
    count = Term(f"COUNT({sheet.rows(first).column('A')})", Decimal(lines))
    return LedgerAt(headings, closings, count)


def _write_account(context: Context, sheet: Sheet, account: Account, lines: Iterator[Any]) -> Term:
    opening = context.figures.figure(context.figures.opening, account)
    above = sheet.line([None, context.year.first_day, "Opening balance", *[None] * 4, opening, None])
    sheet.stream(_running(above, opening, lines))
    reached = opening + sheet.sum_of("F", above + 1) - sheet.sum_of("G", above + 1)
    closing = Formula(f"=ROUND(H{sheet.row},2)", reached)
    sheet.total([None, context.year.last_day, "Closing balance", *[None] * 4, closing])
    at_the_end = sheet.term("H")
    sheet.blank()
    return at_the_end


def _running(row: int, balance: Decimal, lines: Iterator[Any]) -> Iterator[tuple[Any, ...]]:
    for _, number, on, text, fund, who, amount, reverses, by_hand in lines:
        debit, credit = (amount, None) if amount > 0 else (None, -amount)
        row += 1
        balance += amount
        running = Formula(f"=H{row - 1}+F{row}-G{row}", balance)
        yield number, on, text, fund, who, debit, credit, running, kind_of(False, reverses, by_hand)
