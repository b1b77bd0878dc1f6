"""The workbook as a whole: its tabs in their order, and its sheets written one after the other."""

import io
from collections.abc import Callable
from datetime import date
from typing import Any, BinaryIO

from openpyxl import Workbook

from clubdesk import rooms
from clubdesk.ledger.models import FinancialYear
from clubdesk.moment import one_moment
from clubdesk.reports.seal import Stamp, seal_of
from clubdesk.reports.workbook import (
    bridge,
    changes,
    committee,
    funds,
    income,
    journal,
    ledger,
    moves,
    parties,
    position,
    proof,
    receipts,
    summary,
    trial_balance,
)
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.income import IncomeAt
from clubdesk.reports.workbook.position import PositionAt
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Look, Proved, Sheet
from clubdesk.sheets.canonical import Contents, SheetDigest
from clubdesk.sheets.reading import Row

MARK = "fletchbook workbook"
FIRST = [
    *(
        each.LOOK
        for each in (
            summary, committee, trial_balance, income, position, funds, parties, receipts, bridge, journal, ledger,
        )
    ),
    moves.MONEY,
    moves.OTHER,
]  # fmt: skip
LAST = [each.LOOK for each in (changes, proof)]
"""The rooms' own sheets stand between the first and the last."""

Copies = Callable[[str], Callable[[list[Any]], object]]
"""For the name of a sheet, what takes its rows."""
Keeps = Callable[[str], Callable[[Row], object]]
"""The same, of the rows as a reader of the file would find them."""


def of_rooms() -> list[SheetOf]:
    """The sheets that the rooms tell of, in the order of their tabs."""
    return sorted((each for room in rooms.in_order() for each in room.sheets), key=lambda each: each.tab)


def tabs() -> list[Look]:
    """How every sheet looks, in their order."""
    return [*FIRST, *(each.look for each in of_rooms()), *LAST]


def sheets_that_go_on() -> set[str]:
    """The names of those that tell of more than entries, who came, what was signed off: after a close it may change."""
    return {committee.LOOK.title, *(each.look.title for each in of_rooms() if each.goes_on)}


@one_moment()
def write_workbook(
    year: FinancialYear, file: BinaryIO, *, made_on: date, made_by: str, copies: Copies | None = None
) -> None:
    """Write the treasurer's workbook of `year` to `file`. `copies` gets the rows too, formulas by their value."""
    write_stamped(year, file, Stamp(made_on, seal_of(year), made_by), copies)


@one_moment()
def write_stamped(
    year: FinancialYear, file: BinaryIO, stamp: Stamp, copies: Copies | None = None, kept: Keeps | None = None
) -> list[SheetDigest]:
    """The same with the stamp of an earlier making; returns the digest of each sheet. `kept` gets its cells as read.

    Rows of the journal are streamed, never held in memory together.
    """
    context, book = Context.of(year, stamp), Workbook(write_only=True)
    sheets = {look: _opened(look, book, context, copies, kept) for look in tabs()}
    _write_sheets(context, sheets)
    digests = [sheet.digest for sheet in sheets.values()]
    _describe(context, book, Contents.of(digests))
    book.save(file)
    return digests


def workbook_bytes(year: FinancialYear, *, made_on: date, made_by: str) -> bytes:
    file = io.BytesIO()
    write_workbook(year, file, made_on=made_on, made_by=made_by)
    return file.getvalue()


def _opened(look: Look, book: Workbook, context: Context, copies: Copies | None, kept: Keeps | None) -> Sheet:
    return Sheet(
        book, look.title, look.columns_for(len(context.figures.funds)), landscape=look.landscape,
        foot=context.stamp.seal.in_words, one_page=look.one_page, copy=copies(look.title) if copies else None,
        keep=kept(look.title) if kept else None,
    )  # fmt: skip


def _write_sheets(context: Context, sheets: dict[Look, Sheet]) -> None:
    """Each sheet once those are written that it refers to."""
    lines = journal.write(context, sheets[journal.LOOK])
    accounts = ledger.write(context, sheets[ledger.LOOK])
    trial = trial_balance.write(context, sheets[trial_balance.LOOK], lines, accounts)
    result = income.write(context, sheets[income.LOOK], lines)
    who = parties.write(context, sheets[parties.LOOK])
    kept = funds.write(context, sheets[funds.LOOK], lines, result)
    held = position.write(context, sheets[position.LOOK], trial, kept, who)
    money, other = moves.write_money(context, sheets[moves.MONEY]), moves.write_other(context, sheets[moves.OTHER])
    received = receipts.write(context, sheets[receipts.LOOK], money)
    over = bridge.write(
        context, sheets[bridge.LOOK], trial=trial, income=result, receipts=received, money=money, other=other,
        parties=who,
    )  # fmt: skip
    changes.write(context, sheets[changes.LOOK])
    by_month = committee.write(context, sheets[committee.LOOK])
    proofs = proof.write(
        context, sheets[proof.LOOK], journal=lines, ledger=accounts, trial=trial, income=result, position=held,
        money=money, receipts=received, bridge=over, parties=who, funds=kept, by_month=by_month,
        of_rooms=_write_rooms(context, sheets, trial, result, held),
    )  # fmt: skip
    summary.write(context, sheets[summary.LOOK], trial=trial, income=result, position=held, proof=proofs, parties=who)


def _write_rooms(
    context: Context, sheets: dict[Look, Sheet], trial: TrialAt, income: IncomeAt, position: PositionAt
) -> list[tuple[int, Proved]]:
    """The rooms' own sheets; gives what they leave to be proved, each with its place among the proofs."""
    balances = {account.role: trial.balance(account) for account in context.accounts if account.role}
    beside = Beside(context.note, balances, position.funds, income.accounts, income.surplus)
    written = ((each, each.write(sheets[each.look], context.year, beside)) for each in of_rooms())
    return [(each.proof or each.tab, proved) for each, proved in written if proved]


def _describe(context: Context, book: Workbook, contents: Contents) -> None:
    """What a check of the file needs to make it again."""
    properties = book.properties
    properties.title = f"{context.club}: {context.year}"
    properties.creator = "Fletchbook"
    properties.subject = context.stamp.made_by
    properties.keywords = context.stamp.keywords(f"{MARK} {context.year.last_day.year}", str(contents))
