"""The journal, entry by entry."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from clubdesk.ledger.models import FinancialYear
from clubdesk.reports import selectors
from clubdesk.reports.workbook.context import Context
from clubdesk.sheets import Heading, Look, Rows, Sheet, Term

LOOK = Look(
    "Journal",
    (
        Heading("Entry", 8, "number"), Heading("Date", 13, "date"), Heading("Narration", 62),
        Heading("Code", 8), Heading("Account", 28, "name"), Heading("Fund", 15, "name"),
        Heading("Who", 32, "name"), Heading("Debit", 14, "amount"), Heading("Credit", 14, "amount"),
        Heading("Kind", 11),
    ),
    landscape=True,
)  # fmt: skip
CLOSING = "closing"


@dataclass(frozen=True)
class JournalAt:
    """The journal's lines, what they come to, and how many they are without those of closing entries."""

    lines: Rows
    debits: Term
    credits: Term
    count: Term

    def debited(self, code_cell: str, fund_cell: str = "") -> str:
        """The debits of an account (and fund), closing entries left out, as a formula has it."""
        return self._sum("H", code_cell, fund_cell)

    def credited(self, code_cell: str, fund_cell: str = "") -> str:
        return self._sum("I", code_cell, fund_cell)

    def _sum(self, column: str, code_cell: str, fund_cell: str) -> str:
        lines = self.lines
        parts = [lines.column(column), lines.column("D"), code_cell, lines.column("J"), f'"<>{CLOSING}"']
        if fund_cell:
            parts += [lines.column("F"), fund_cell]
        return f"SUMIFS({','.join(parts)})"


def write(context: Context, sheet: Sheet) -> JournalAt:
    first = sheet.top(context.note("Every line of every entry.")) + 1
    kinds = Counter[str | None]()
    sheet.stream(_counted(journal_rows(context.year), kinds))
    lines = sheet.rows(first)
    debits, credits = (Term(f"SUM({lines.column(column)})", sheet.sum_of(column, first)) for column in "HI")
    ordinary = Decimal(kinds.total() - kinds[CLOSING])
    count = Term(f'COUNTIFS({lines.column("A")},">0",{lines.column("J")},"<>{CLOSING}")', ordinary)
    return JournalAt(lines, debits, credits, count)


def _counted(rows: Iterator[tuple[Any, ...]], kinds: Counter[str | None]) -> Iterator[tuple[Any, ...]]:
    for row in rows:
        kinds[row[-1]] += 1
        yield row


def journal_rows(year: FinancialYear, until: int | None = None) -> Iterator[tuple[Any, ...]]:
    """Every line of the year in the order of entry numbers, of those up to `until` where one is given."""
    lines = selectors.lines_of_year(year)
    if until is not None:
        lines = lines.filter(entry__number__lte=until)
    rows = lines.iterator(chunk_size=2000)
    for number, on, text, code, name, fund, who, amount, closing, reverses, by_hand in rows:
        debit, credit = (amount, None) if amount > 0 else (None, -amount)
        yield number, on, text, code, name, fund, who, debit, credit, kind_of(closing, reverses, by_hand)


def kind_of(closing: bool, reverses: int | None, by_hand: bool) -> str | None:
    """What the journal says of an entry that is not an ordinary one."""
    if closing:
        return CLOSING
    if reverses:
        return f"undoes {reverses}"
    return "by hand" if by_hand else None
