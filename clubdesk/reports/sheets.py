"""A workbook written row by row: titles, headers, amounts as numbers, text that can never become a formula."""

import re
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter, quote_sheetname

AMOUNT_FORMAT = "#,##0.00;[Red]-#,##0.00"
DATE_FORMAT = "d mmm yyyy"
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
RISKY = tuple("=+-@\t\r")
LONGEST = 32767
INK, PAPER, RULE = "22302B", "E7EEE6", "8AA395"
TITLE = Font(name="Calibri", size=16, bold=True, color=INK)
NOTE = Font(name="Calibri", size=10, italic=True, color="55625C")
BOLD = Font(name="Calibri", bold=True, color=INK)
HEADER_FILL = PatternFill("solid", fgColor=PAPER)
LEFT, RIGHT = Alignment(horizontal="left"), Alignment(horizontal="right")
TOTAL_LINE = Border(top=Side("thin", color=RULE), bottom=Side("double", color=RULE))


class Formula(str):
    """Text that is meant as a formula for an amount; any other text is written as text."""

    __slots__ = ()


class Verdict(Formula):
    """A formula whose result is TRUE, or says what is wrong."""

    __slots__ = ()


class Sheet:
    """One sheet of the workbook, written from the top; `row` is the number of the last row written.

    `amounts` are the letters of the columns that hold amounts: their headers stand to the right.
    """

    def __init__(
        self, workbook: Workbook, title: str, widths: Sequence[float], *, amounts: str = "", landscape: bool = False
    ):
        self.sheet = workbook.create_sheet(title)
        self.name = title
        self.row = 0
        self.amounts = amounts
        for index, width in enumerate(widths, 1):
            self.sheet.column_dimensions[get_column_letter(index)].width = width
        setup = self.sheet.page_setup
        setup.orientation = "landscape" if landscape else "portrait"
        setup.paperSize = 9  # A4
        setup.fitToWidth, setup.fitToHeight = 1, 0
        self.sheet.sheet_properties.pageSetUpPr.fitToPage = True
        self.sheet.oddFooter.center.text = "&A, page &P of &N"
        self.sheet.sheet_view.showGridLines = False

    def top(self, title: str, note: str, header: Sequence[str]) -> int:
        """The title, a note and the header, which repeats on every printed page; returns the header's row."""
        self.sheet.print_title_rows = "1:4"
        self.sheet.freeze_panes = "A5"
        self._write([self.cell(title, font=TITLE)])
        self._write([self.cell(note, font=NOTE)])
        self._write([])
        return self.header(header)

    def header(self, names: Sequence[str]) -> int:
        cells = [self.cell(name, font=BOLD) for name in names]
        for index, cell in enumerate(cells, 1):
            cell.fill = HEADER_FILL
            side = "right" if get_column_letter(index) in self.amounts else "left"
            cell.alignment = Alignment(horizontal=side, wrap_text=True, vertical="top")
        return self._write(cells)

    def line(self, values: Iterable[Any]) -> int:
        """A row of plain values; returns its number."""
        return self._write([self.cell(value) if value is not None else None for value in values])

    def heading(self, text: str) -> int:
        return self._write([self.cell(text, font=BOLD)])

    def total(self, values: Iterable[Any]) -> int:
        cells = [self.cell(value, font=BOLD) if value is not None else None for value in values]
        for cell in cells:
            if cell is not None:
                cell.border = TOTAL_LINE
        return self._write(cells)

    def sums(self, first: int, columns: Iterable[str]) -> list[Formula]:
        """The sum of each column from row `first` to the last row written; nil where there is none."""
        if self.row < first:
            self.blank()
        return [Formula(f"=ROUND(SUM({column}{first}:{column}{self.row}),2)") for column in columns]

    def blank(self) -> int:
        return self._write([])

    def stream(self, rows: Iterable[Sequence[Any]], kinds: Sequence[str]) -> int:
        """Many rows of one shape, fast: `kinds` is "text", "amount", "date" or "number" a column."""
        cells = [WriteOnlyCell(self.sheet) for _ in kinds]
        for cell, kind in zip(cells, kinds, strict=True):
            if kind in ("amount", "date"):
                cell.number_format = AMOUNT_FORMAT if kind == "amount" else DATE_FORMAT
            if kind in ("date", "number"):
                cell.alignment = LEFT
        texts = [kind == "text" for kind in kinds]
        append = self.sheet.append
        for row in rows:
            for cell, value, is_text in zip(cells, row, texts, strict=True):
                if is_text and value:
                    value = safe(value)
                    cell.value = value
                    cell.data_type = "s"
                    cell.quotePrefix = value.startswith(RISKY)
                else:
                    cell.value = value
            append(cells)
            self.row += 1
        return self.row

    def cell(self, value: Any, font: Font | None = None) -> Any:
        cell = WriteOnlyCell(self.sheet)
        if isinstance(value, str) and not isinstance(value, Formula):
            cell.value = safe(value)
            cell.data_type = "s"
            cell.quotePrefix = value.startswith(RISKY)
        else:
            cell.value = value
        if isinstance(value, Verdict):
            cell.alignment = RIGHT
        elif isinstance(value, Decimal | Formula):
            cell.number_format = AMOUNT_FORMAT
        elif isinstance(value, date | int):
            cell.number_format = DATE_FORMAT if isinstance(value, date) else "0"
            cell.alignment = LEFT
        if font:
            cell.font = font
        return cell

    def range(self, column: str, first: int, last: int) -> str:
        """A fixed range of this sheet for a formula in another, such as 'Trial balance'!$D$5:$D$40."""
        return f"{quote_sheetname(self.name)}!${column}${first}:${column}${max(first, last)}"

    def at(self, column: str, row: int) -> str:
        return f"{quote_sheetname(self.name)}!${column}${row}"

    def _write(self, cells: Sequence[Any]) -> int:
        self.sheet.append(cells)
        self.row += 1
        return self.row


def safe(text: str) -> str:
    """`text` without the control characters that a workbook cannot hold, cut to what a cell can."""
    return CONTROL.sub(" ", text)[:LONGEST]
