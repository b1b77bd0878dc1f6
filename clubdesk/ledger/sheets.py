"""What the workbook shows of the ledger beside the reports: which months were locked and unlocked, and why."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from clubdesk.ledger.models import FinancialYear, UnlockState
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Heading, Look, Named, Sheet

LOCKS = Look(
    "Months locked",
    (
        Heading("On", 13, "date"), Heading("What", 34), Heading("By", 18, "name"), Heading("Agreed by", 18, "name"),
        Heading("Why", 50), Heading("Not proven then", 60),
    ),
    landscape=True,
)  # fmt: skip


def write_locks(sheet: Sheet, year: FinancialYear, beside: Beside) -> None:
    """Each lock and each unlocking of the year's months, in the order in which they were."""
    sheet.top(beside.note("When months were locked, by whom, and what of them was not proven; and what was unlocked."))
    found = sorted([*_locks(year), *_unlocks(year)], key=lambda row: row[0])
    for _, line in found:
        sheet.line(line)
    if not found:
        sheet.line(["No month of this year is locked."])


Row = tuple[tuple[Any, ...], list[date | str | Named | None]]
"""What it is sorted by, and the cells."""


def _locks(year: FinancialYear) -> Iterator[Row]:
    for lock in year.locks.select_related("recorded_by"):
        lacking, by = lock.lacking.replace("\n", "; "), Named(str(lock.recorded_by))
        yield (lock.recorded_at,), [lock.locked_on, str(lock), by, None, lock.reason or None, lacking or None]


def _unlocks(year: FinancialYear) -> Iterator[Row]:
    """What was asked for and what became of it; sorted by the moment of asking."""
    for asked in year.unlocks.select_related("recorded_by", "decided_by"):
        what = {
            UnlockState.ASKED: f"Asked to unlock from {asked.month_end:%B %Y}",
            UnlockState.AGREED: f"Unlocked from {asked.month_end:%B %Y}",
            UnlockState.DECLINED: f"Not unlocked: {asked.month_end:%B %Y}",
        }[UnlockState(asked.state)]
        other = Named(str(asked.decided_by)) if asked.decided_by else None
        why = f"{asked.reason}; declined: {asked.answer}" if asked.answer else asked.reason
        yield (
            (asked.recorded_at,),
            [asked.decided_on or asked.asked_on, what, Named(str(asked.recorded_by)), other, why, None],
        )


SHEETS = (SheetOf(LOCKS, write_locks, tab=95, goes_on=True),)
