"""A workbook against the one that the book makes now, cell by cell: figures, names, what is shown, and how it looks."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import zip_longest
from typing import Any

from openpyxl.utils import get_column_letter

from clubdesk.clock import day_text
from clubdesk.ledger.models import FinancialYear
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import as_amount, shown
from clubdesk.reports.selectors import balances_at
from clubdesk.reports.workbook.journal import LOOK, journal_rows
from clubdesk.sheets import Named
from clubdesk.sheets.canonical import canonical, is_formula
from clubdesk.sheets.reading import NOTHING, Row

FIRST_ROW = 5
"""The first row below the header of a sheet."""
NAMES = {place for place, column in enumerate(LOOK.columns, 1) if column.kind == "name"}
"""The columns of the journal that hold names."""


@dataclass(frozen=True)
class Difference:
    """A cell that is not the book's, in words."""

    sheet: str
    words: str


class Comparison:
    """Finds what differs, cell by cell, and tells a name that changed since from a figure that was changed.

    A name counts as changed since if the file has one and the same other name for it wherever it stands, and that other
    name is nobody else's in the book.
    """

    def __init__(self) -> None:
        self.names: dict[str, dict[str, str]] = defaultdict(dict)
        self.unchanged: set[str] = set()

    def renamed(self) -> list[str]:
        """A sentence for each name that is another in the book now."""
        return [
            f"“{other}” in the file is called “{name}” in the book now."
            for name, others in self.names.items()
            for other in others
            if self._is_a_rename(name)
        ]

    def _is_a_rename(self, name: str) -> bool:
        others = self.names[name]
        taken = {other for each, found in self.names.items() if each != name for other in found}
        return (
            len(others) == 1
            and name not in self.unchanged
            and not (others.keys() & (self.unchanged | taken | self.names.keys()))
        )

    def names_that_differ(self) -> Iterator[str]:
        for name, others in self.names.items():
            if not self._is_a_rename(name):
                for other, cell in others.items():
                    yield f"{cell}: the file has “{other}”, the book “{name}”."

    def row(self, sheet: str, number: int, theirs: Row, ours: Row, known: Sequence[Any]) -> Iterator[Difference]:
        """Each cell of a row that is not the book's: by formula, by figure, or by the figure that it shows.

        `known` is the book's row with its formulas by their value.
        """
        for place, (one, other, figure) in enumerate(zip_longest(theirs, ours, known), 1):
            one, other = one or NOTHING, other or NOTHING
            cell = f"{sheet}!{get_column_letter(place)}{number}"
            if not self._same(cell, one.value, other.value, figure):
                yield Difference(
                    sheet, f"{cell}: the file has {in_words(one.value)}, the book {in_words(other.value)}."
                )
            elif (
                is_formula(one.value) and None not in (one.shown, figure) and canonical(one.shown) != canonical(figure)
            ):
                shows, comes_to = in_words(one.shown), in_words(figure)
                yield Difference(sheet, f"{cell}: the file shows {shows}, the book comes to {comes_to}.")

    def note_unchanged(self, rows: Iterable[Sequence[Any]]) -> None:
        """Note the names in rows of the book that the file has as they are."""
        for row in rows:
            for value in row:
                if isinstance(value, Named):
                    self.unchanged.update(name for name in map(canonical, value.names) if name)

    def _same(self, cell: str, theirs: Any, ours: Any, known: Any) -> bool:
        """Whether two values are the same, names that may have changed since being noted for later."""
        same: bool = (type(theirs) is type(ours) and theirs == ours) or canonical(theirs) == canonical(ours)
        if isinstance(known, Named) and ours is not None:
            pairs = _names_in(known, theirs) if isinstance(theirs, str) else None
            if pairs is None:
                return same
            for name, other in pairs:
                if name == other:
                    self.unchanged.add(name)
                else:
                    self.names[name].setdefault(other, cell)
            return True
        return same

    def journal(self, file: Any, year: FinancialYear, number: int) -> Iterator[str]:
        """A sentence for each cell of the file's journal and trial balance that is not the book's up to an entry."""
        for name in ("Journal", "Trial balance"):
            if name not in file.sheetnames:
                yield f"Sheets are missing: {name}."
                return
        rows = file["Journal"].iter_rows(min_row=FIRST_ROW, values_only=True)
        expected = journal_rows(year, until=number)
        for place, (theirs, ours) in enumerate(zip_longest(rows, expected, fillvalue=()), FIRST_ROW):
            for column, (one, other) in enumerate(zip_longest(theirs, ours), 1):
                cell = f"Journal!{get_column_letter(column)}{place}"
                known = Named(other) if column in NAMES and other else other
                if not self._same(cell, one, other, known):
                    yield f"{cell}: the file has {in_words(one)}, the book {in_words(other)}."
        yield from self.names_that_differ()
        balances = balances_at(year, number)
        for place, row in enumerate(file["Trial balance"].iter_rows(min_row=FIRST_ROW, values_only=True), FIRST_ROW):
            code, stated = str(row[0] or ""), row[9] if len(row) > 9 else None
            if code and canonical(stated or 0) != canonical(balances.pop(code, ZERO)):
                yield f"Trial balance!J{place}: the file has {in_words(stated)}, which is not what entry {number} left."
        for code, figure in balances.items():
            if figure:
                yield f"Trial balance: the account {code} with {shown(as_amount(figure))} is missing."


def _names_in(text: Named, theirs: str) -> list[tuple[str, str]] | None:
    """Each name in the book's text with what the file has in its place; None where the words around it differ."""
    pattern = re.escape(canonical(text))
    for name in text.names:
        pattern = pattern.replace(re.escape(canonical(name)), "(.+?)", 1)
    found = re.fullmatch(pattern, canonical(theirs) or "")
    return list(zip(map(canonical, text.names), found.groups(), strict=False)) if found else None


def sheets_that_differ(file: Any, book: Any) -> Iterator[str]:
    missing = [name for name in book.sheetnames if name not in file.sheetnames]
    extra = [name for name in file.sheetnames if name not in book.sheetnames]
    unseen = [sheet.title for sheet in file.worksheets if sheet.sheet_state != "visible"]
    for names, words in ((missing, "are missing"), (extra, "were added"), (unseen, "are hidden")):
        if names:
            yield f"Sheets {words}: {', '.join(names)}."


def in_words(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, datetime | date):
        return day_text(value)
    return f"“{value}”" if isinstance(value, str) else str(value)
