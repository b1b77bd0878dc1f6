"""A workbook written row by row: titles, headers, amounts as numbers, text that can never become a formula."""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import column_index_from_string, get_column_letter, quote_sheetname

from clubdesk.money import sign
from clubdesk.sheets.canonical import SheetDigest
from clubdesk.sheets.cells import NIL, Count, Formula, Jump, Named, Rows, Term, Verdict, letters, plain_value, safe
from clubdesk.sheets.reading import NOTHING, Cell, Row
from clubdesk.sheets.writing import FormulaCell, add_sheet
from clubdesk.tables import RISKY, TO_THE_RIGHT, Kind

AMOUNT_FORMAT = f'"{sign()}"#,##0.00;[Red]-"{sign()}"#,##0.00'
DATE_FORMAT = "d mmm yyyy"
LINE = 15.5  # points that a line of a heading takes
INK, PAPER, RULE = "22302B", "E7EEE6", "8AA395"
TITLE = Font(name="Calibri", size=16, bold=True, color=INK)
NOTE = Font(name="Calibri", size=10, italic=True, color="55625C")
BOLD = Font(name="Calibri", bold=True, color=INK)
HEADER_FILL = PatternFill("solid", fgColor=PAPER)
LEFT, RIGHT = Alignment(horizontal="left"), Alignment(horizontal="right", indent=1)
TOTAL_LINE = Border(top=Side("thin", color=RULE), bottom=Side("double", color=RULE))


@dataclass(frozen=True)
class Heading:
    """A column of a sheet: its title, its width in characters where it is not the usual one, and what it holds."""

    title: str
    width: float = 0
    kind: Kind = "text"


@dataclass(frozen=True)
class Look:
    """How a sheet is laid out: its title, its columns, and how it prints.

    `by_fund` is the width of further columns of amounts, one for each fund and four more.
    """

    title: str
    columns: tuple[Heading, ...]
    landscape: bool = False
    one_page: bool = False
    by_fund: float = 0

    def columns_for(self, funds: int) -> list[Heading]:
        further = [Heading("", self.by_fund, "amount")] * (funds + 4) if self.by_fund else []
        return [*self.columns, *further]


def _as_read(cells: Sequence[Any]) -> Row:
    """Cells as they are read again: nothing stands behind the last that holds or shows something."""
    row = [Cell(cell.value, None, cell.style_id) if cell is not None else NOTHING for cell in cells]
    while row and row[-1] == NOTHING:
        row.pop()
    return row


class Sheet:
    """One sheet of the workbook, written from the top; `row` is the number of the last row written.

    Headers of columns that hold amounts stand to the right. `foot` stands on every printed page. `copy` writes the same
    rows elsewhere, each formula by its value; `keep` gets them as a reader of the saved file would find them.
    """

    def __init__(
        self, workbook: Workbook, title: str, columns: Sequence[Heading], *, landscape: bool = False,
        foot: str = "", one_page: bool = False, copy: Callable[[list[Any]], object] | None = None,
        keep: Callable[[Row], object] | None = None,
    ):  # fmt: skip
        self.sheet = add_sheet(workbook, title)
        self.name = title
        self.row = 0
        self.columns = columns
        self.amounts = {letter for letter, each in zip(letters(len(columns), "A"), columns, strict=True)
                        if each.kind in TO_THE_RIGHT}  # fmt: skip
        self.copy, self.keep = copy, keep
        self.digest = SheetDigest(title)
        self._figures: dict[str, list[tuple[int, Decimal]]] = {}
        self._last: Sequence[Any] = ()
        for letter, each in zip(letters(len(columns), "A"), columns, strict=True):
            if each.width:
                self.sheet.column_dimensions[letter].width = each.width
        setup = self.sheet.page_setup
        setup.orientation = "landscape" if landscape else "portrait"
        setup.paperSize = 9  # A4
        setup.fitToWidth, setup.fitToHeight = 1, int(one_page)
        self.sheet.sheet_properties.pageSetUpPr.fitToPage = True
        self.sheet.oddFooter.right.text = "&A, page &P of &N"
        self.sheet.oddFooter.left.text = foot
        self.sheet.sheet_view.showGridLines = False

    def top(self, note: str, header: Sequence[str] = (), title: str = "") -> int:
        """The title, a note and the header, which repeats on every printed page; returns the header's row.

        The title and the header are the sheet's and its columns' own unless they are given.
        """
        title = title or self.name
        self.sheet.print_title_rows = "1:4"
        self.sheet.freeze_panes = "A5"
        self._write([title], [self.cell(title, font=TITLE)])
        self._write([note], [self.cell(note, font=NOTE)])
        self.blank()
        return self.header(header or [each.title for each in self.columns])

    def header(self, names: Sequence[str]) -> int:
        cells = [self.cell(name, font=BOLD) for name in names]
        for index, cell in enumerate(cells, 1):
            cell.fill = HEADER_FILL
            is_amount = get_column_letter(index) in self.amounts
            cell.alignment = Alignment(
                horizontal="right" if is_amount else "left", indent=int(is_amount), wrap_text=True, vertical="top"
            )
        self.sheet.row_dimensions[self.row + 1].height = LINE * max(map(self._lines_of, enumerate(names, 1)), default=1)
        return self._write(names, cells)

    def _lines_of(self, heading: tuple[int, str]) -> int:
        """How many lines a heading takes in its column, so that programs which do not work it out show them all."""
        place, text = heading
        room = max(self.sheet.column_dimensions[get_column_letter(place)].width - 2, 4)
        return len(textwrap.wrap(text, int(room))) or 1

    def line(self, values: Iterable[Any]) -> int:
        """A row of plain values; returns its number."""
        row = list(values)
        self._keep(self.row + 1, row)
        cells = [self.cell(value) if value is not None else None for value in row]
        for index, value in enumerate(row, 1):
            if isinstance(value, int) and get_column_letter(index) in self.amounts:
                cells[index - 1].alignment = RIGHT  # type: ignore[union-attr]
        return self._write(row, cells)

    def heading(self, text: str) -> int:
        return self._write([text], [self.cell(text, font=BOLD)])

    def total(self, values: Iterable[Any]) -> int:
        row = list(values)
        cells = [self.cell(value, font=BOLD) if value is not None else None for value in row]
        for cell in cells:
            if cell is not None:
                cell.border = TOTAL_LINE
        return self._write(row, cells)

    def sums(self, first: int, columns: Iterable[str]) -> list[Formula]:
        """The sum of each column from row `first` to the last row written; nil where there is none."""
        if self.row < first:
            self.blank()
        return [
            Formula(f"=ROUND(SUM({column}{first}:{column}{self.row}),2)", self.sum_of(column, first))
            for column in columns
        ]

    def sum_of(self, column: str, first: int) -> Decimal:
        """What the column's amounts come to from row `first` on, totals left out."""
        return sum((figure for row, figure in self._figures.get(column, []) if row >= first), NIL)

    def apart(self, column: str, first: int, last: int | None = None) -> Term:
        """How far the column's amounts are from zero, added up, from row `first` to the last row written.

        Where rows may go or come after a year is closed, `last` is a row that they never reach.
        """
        whole = sum((abs(figure) for row, figure in self._figures.get(column, []) if row >= first), NIL)
        rows = self.rows(first) if last is None else Rows(self.name, first, last)
        return Term(f"SUMPRODUCT(ABS({rows.column(column)}))", whole)

    def _keep(self, row: int, values: Sequence[Any]) -> None:
        for index, value in enumerate(values, 1):
            figure = value.value if isinstance(value, Formula) else value
            if isinstance(figure, Decimal):
                self._figures.setdefault(get_column_letter(index), []).append((row, figure))

    def blank(self) -> int:
        return self._write([], [])

    def stream(self, rows: Iterable[Sequence[Any]]) -> int:
        """Many rows, each cell of the kind of its column, fast."""
        kinds = [each.kind for each in self.columns]
        cells: list[Any] = [
            FormulaCell(self.sheet) if kind == "formula" else WriteOnlyCell(self.sheet) for kind in kinds
        ]
        for cell, kind in zip(cells, kinds, strict=True):
            if kind in ("amount", "date", "formula"):
                cell.number_format = DATE_FORMAT if kind == "date" else AMOUNT_FORMAT
                cell.alignment = LEFT if kind == "date" else RIGHT
            if kind == "number":
                cell.alignment = LEFT
        texts = [kind in ("text", "name") for kind in kinds]
        names = [place for place, kind in enumerate(kinds) if kind == "name"]
        formulas = [place for place, kind in enumerate(kinds) if kind == "formula"]
        append, copy, digest = self.sheet.append, self.copy, self.digest
        sums = {place: NIL for place, kind in enumerate(kinds) if kind == "amount"}
        first = self.row + 1
        for row in rows:
            if copy:
                copied = [plain_value(value) for value in row]
                for place in names:
                    copied[place] = Named(copied[place]) if copied[place] else None
                copy(copied)
            for place in sums:
                if row[place] is not None:
                    sums[place] += row[place]
            for cell, value, is_text in zip(cells, row, texts, strict=True):
                if is_text and value:
                    value = safe(value)
                    cell.value = value
                    cell.data_type = "s"
                    cell.quotePrefix = value.startswith(RISKY)
                else:
                    cell.value = value
            for place in formulas:
                cells[place].shown = row[place].value
            append(cells)
            if self.keep:
                self.keep(_as_read(cells))
            self.row += 1
            digest.add(self.row, [cell.value for cell in cells])
            for place in formulas:
                digest.add_figure(self.row, place, row[place].value)
        for place, figure in sums.items():
            self._figures.setdefault(get_column_letter(place + 1), []).append((first, figure))
        return self.row

    def cell(self, value: Any, font: Font | None = None) -> Any:
        cell = self._holding(value)
        if isinstance(value, Verdict):
            cell.alignment = RIGHT
        elif isinstance(value, Jump):
            cell.font = Font(name="Calibri", underline="single", color="1D5F4B")
        elif isinstance(value, Decimal | Formula):
            cell.number_format = "0" if isinstance(value, Count) else AMOUNT_FORMAT
            cell.alignment = RIGHT
        elif isinstance(value, date | int):
            cell.number_format = DATE_FORMAT if isinstance(value, date) else "0"
            cell.alignment = LEFT
        if font:
            cell.font = font
        return cell

    def _holding(self, value: Any) -> Any:
        if isinstance(value, Formula):
            return FormulaCell(self.sheet, value, value.value)
        cell = WriteOnlyCell(self.sheet)
        cell.value = safe(value) if isinstance(value, str) else value
        if isinstance(value, str):
            cell.data_type = "s"
            cell.quotePrefix = value.startswith(RISKY)
        return cell

    def rows(self, first: int) -> Rows:
        """The rows from `first` to the last one written."""
        return Rows(self.name, first, self.row)

    def at(self, column: str, row: int) -> str:
        """A fixed place for a formula in another sheet, such as 'Trial balance'!$D$5."""
        return f"{quote_sheetname(self.name)}!${column}${row}"

    def term(self, column: str) -> Term:
        """The amount in that column of the row written last, for a formula in another sheet."""
        return Term(self.at(column, self.row), plain_value(self._last[column_index_from_string(column) - 1]), True)

    def _write(self, values: Sequence[Any], cells: Sequence[Any]) -> int:
        if self.copy:
            self.copy([plain_value(value) for value in values])
        self.sheet.append(cells)
        if self.keep:
            self.keep(_as_read(cells))
        self.row, self._last = self.row + 1, values
        self.digest.add(self.row, [cell.value if cell is not None else None for cell in cells])
        for place, value in enumerate(values):
            if isinstance(value, Formula):
                self.digest.add_figure(self.row, place, value.value)
        return self.row
