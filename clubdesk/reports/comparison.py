"""A workbook against the one that the book makes now, cell by cell: figures, names, what is shown, and how it looks."""

import io
import re
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import zip_longest
from typing import Any

from openpyxl.utils import get_column_letter

from clubdesk.clock import day_text
from clubdesk.ledger.models import FinancialYear
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import as_amount, shown
from clubdesk.reports import appearance
from clubdesk.reports.selectors import balances_at
from clubdesk.reports.workbook.journal import LOOK, journal_rows
from clubdesk.sheets import Named
from clubdesk.sheets.canonical import canonical, is_formula

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

    def __init__(self, figures: dict[str, list[list[Any]]]):
        self.figures = figures
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

    def cells(self, file: Any, shown_in_file: Any, book: Any) -> Iterator[Difference]:
        """Each cell that is not the book's: by formula, by figure, or by the figure that it shows."""
        for name in (name for name in book.sheetnames if name in file.sheetnames):
            rows = zip_longest(
                file[name].iter_rows(values_only=True), book[name].iter_rows(values_only=True),
                shown_in_file[name].iter_rows(values_only=True), self.figures.get(name, []), fillvalue=(),
            )  # fmt: skip
            for number, row in enumerate(rows, 1):
                for words in self._row(name, number, *row):
                    yield Difference(name, words)

    def _row(self, name: str, number: int, theirs: Any, ours: Any, seen: Any, known: Any) -> Iterator[str]:
        for place, (one, other, drawn, figure) in enumerate(zip_longest(theirs, ours, seen, known), 1):
            cell = f"{name}!{get_column_letter(place)}{number}"
            if not self._same(cell, one, other, figure):
                yield f"{cell}: the file has {in_words(one)}, the book {in_words(other)}."
            elif is_formula(one) and None not in (drawn, figure) and canonical(drawn) != canonical(figure):
                yield f"{cell}: the file shows {in_words(drawn)}, the book comes to {in_words(figure)}."

    def _same(self, cell: str, theirs: Any, ours: Any, known: Any) -> bool:
        """Whether two values are the same, names that may have changed since being noted for later."""
        same: bool = canonical(theirs) == canonical(ours)
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


def looks_that_differ(content: bytes, file: Any, ours: bytes, book: Any, cell_by_cell: bool) -> Iterator[str]:
    """A sentence for each thing that makes a figure read otherwise; else what no cell of the sheet looks like."""
    for name in appearance.parts_that_do_not_belong(content):
        yield f"The file holds something that is no part of a workbook of ours: {name}."
    theirs, own = appearance.Looks(), appearance.Looks()
    with zipfile.ZipFile(io.BytesIO(content)) as one, zipfile.ZipFile(io.BytesIO(ours)) as other:
        yield from appearance.text_that_differs(one)
        for name in (name for name in book.sheetnames if name in file.sheetnames):
            sheets = (
                appearance.sheet_of(archive, each[name]._worksheet_path)
                for archive, each in ((one, file), (other, book))
            )
            yield from appearance.differences(name, *sheets)
            rows = zip_longest(file[name].iter_rows(), book[name].iter_rows() if cell_by_cell else (), fillvalue=())
            usual = set() if cell_by_cell else {own.of(cell) for row in book[name].iter_rows() for cell in row}
            for number, (row, other_row) in enumerate(rows, 1):
                for place, (cell, other_cell) in enumerate(zip_longest(row, other_row), 1):
                    if cell is None or cell.value is None:
                        continue
                    look = theirs.of(cell)
                    if look not in usual if usual else other_cell is not None and look != own.of(other_cell):
                        where = f"{name}!{get_column_letter(place)}{number}"
                        yield f"{where}: it looks otherwise than in the book’s workbook, by its format, colour or size."
