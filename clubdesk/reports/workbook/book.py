"""The workbook as a whole: its tabs in their order, and its sheets written one after the other."""

import io
from collections.abc import Callable
from datetime import date
from typing import Any, BinaryIO

from openpyxl import Workbook

from clubdesk.ledger.models import FinancialYear
from clubdesk.reports.seal import Stamp, seal_of
from clubdesk.reports.workbook import (
    adjustments,
    affiliation,
    bank,
    bridge,
    budget,
    changes,
    committee,
    courses,
    entry_fund,
    hire,
    income,
    journal,
    ledger,
    owing,
    position,
    proof,
    receipts,
    summary,
    trial_balance,
    vouchers,
)  # fmt: skip
from clubdesk.reports.workbook.context import Context
from clubdesk.sheets import Look, Sheet
from clubdesk.sheets.canonical import Contents

MARK = "fletchbook workbook"
TABS = [
    each.LOOK
    for each in (
        summary, committee, trial_balance, income, position, receipts, bridge, journal, ledger, owing, entry_fund,
        vouchers, hire, courses, affiliation, bank, budget, adjustments, changes, proof,
    )
]  # fmt: skip

Copies = Callable[[str], Callable[[list[Any]], object]]
"""For the name of a sheet, what takes its rows."""


def write_workbook(
    year: FinancialYear, file: BinaryIO, *, made_on: date, made_by: str, copies: Copies | None = None
) -> None:
    """Write the treasurer's workbook of `year` to `file`. `copies` gets the rows too, formulas by their value."""
    write_stamped(year, file, Stamp(made_on, seal_of(year), made_by), copies)


def write_stamped(year: FinancialYear, file: BinaryIO, stamp: Stamp, copies: Copies | None = None) -> None:
    """The same with the stamp of an earlier making. Rows of the journal are streamed, never held in memory together."""
    context, book = Context.of(year, stamp), Workbook(write_only=True)
    sheets = {look: _opened(look, book, context, copies) for look in TABS}
    _write_sheets(context, sheets)
    _describe(context, book, [sheets[look] for look in TABS])
    book.save(file)


def workbook_bytes(year: FinancialYear, *, made_on: date, made_by: str) -> bytes:
    file = io.BytesIO()
    write_workbook(year, file, made_on=made_on, made_by=made_by)
    return file.getvalue()


def _opened(look: Look, book: Workbook, context: Context, copies: Copies | None) -> Sheet:
    return Sheet(
        book, look.title, look.columns_for(len(context.figures.funds)), landscape=look.landscape,
        foot=context.stamp.seal.in_words, one_page=look.one_page, copy=copies(look.title) if copies else None,
    )  # fmt: skip


def _write_sheets(context: Context, sheets: dict[Look, Sheet]) -> None:
    """Each sheet once those are written that it refers to."""
    lines = journal.write(context, sheets[journal.LOOK])
    accounts = ledger.write(context, sheets[ledger.LOOK])
    trial = trial_balance.write(context, sheets[trial_balance.LOOK], lines, accounts)
    result = income.write(context, sheets[income.LOOK], lines)
    held = position.write(context, sheets[position.LOOK], trial, result)
    money = receipts.write(context, sheets[receipts.LOOK])
    adjustments.write(context, sheets[adjustments.LOOK])
    changes.write(context, sheets[changes.LOOK])
    committee.write(context, sheets[committee.LOOK])
    proofs = proof.write(
        context, sheets[proof.LOOK], journal=lines, trial=trial, income=result, position=held, receipts=money,
        bridge=bridge.write(context, sheets[bridge.LOOK], trial, result, money),
        owing=owing.write(context, sheets[owing.LOOK], trial),
        entry_fund=entry_fund.write(context, sheets[entry_fund.LOOK], held),
        vouchers=vouchers.write(context, sheets[vouchers.LOOK], trial),
        hire=hire.write(context, sheets[hire.LOOK], trial),
        courses=courses.write(context, sheets[courses.LOOK], trial),
        affiliation=affiliation.write(context, sheets[affiliation.LOOK], trial),
        bank=bank.write(context, sheets[bank.LOOK]),
        budget=budget.write(context, sheets[budget.LOOK], result),
    )  # fmt: skip
    summary.write(context, sheets[summary.LOOK], trial=trial, income=result, position=held, proof=proofs)


def _describe(context: Context, book: Workbook, sheets: list[Sheet]) -> None:
    """What a check of the file needs to make it again."""
    properties = book.properties
    properties.title = f"{context.club}: {context.year}"
    properties.creator = "Fletchbook"
    properties.subject = context.stamp.made_by
    contents = str(Contents.of(sheet.digest for sheet in sheets))
    properties.keywords = context.stamp.keywords(f"{MARK} {context.year.last_day.year}", contents)
