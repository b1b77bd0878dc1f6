"""Formulas written with what they come to beside them, so that whoever only shows a file shows its figures.

openpyxl leaves the place of a result empty. Source of how results are written: ECMA-376 Part 1, 18.3.1.4 (c),
18.3.1.40 (f), 18.3.1.96 (v) and 18.18.11 (ST_CellType).
"""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.worksheet._write_only import WriteOnlyWorksheet
from openpyxl.worksheet._writer import WorksheetWriter
from openpyxl.xml.functions import Element, SubElement

from clubdesk.sheets.cells import NIL, number


class FormulaCell(Cell):
    """A cell for a formula; `shown` is what stands beside it: an amount, words, or a truth."""

    __slots__ = ("shown",)
    shown: Decimal | str | bool | None

    def __init__(self, worksheet: Any, value: str | None = None, shown: Decimal | str | bool | None = None) -> None:
        super().__init__(worksheet, row=1, column=1, value=value)
        self.shown = shown


class ShowingWorksheet(WriteOnlyWorksheet):
    """A sheet that is streamed, whose formulas show what they come to."""

    def _get_writer(self) -> None:
        if self._writer is None:
            self._writer: Any = _Writer(self)
            self._writer.write_top()


def add_sheet(workbook: Workbook, title: str) -> Any:
    """A new sheet at the end of a workbook that is only written."""
    sheet: Any = ShowingWorksheet(workbook, title)
    workbook._add_sheet(sheet)  # type: ignore[attr-defined]
    return sheet


class _Writer(WorksheetWriter):
    def write_row(self, xf: Any, row: Any, row_idx: int) -> None:
        super().write_row(xf, self._without_formulas(xf, row), row_idx)

    def _without_formulas(self, xf: Any, row: Any) -> Iterator[Any]:
        """The cells for openpyxl to write; formulas are written on the way, each in its place."""
        for cell in row:
            if isinstance(cell, FormulaCell) and cell.data_type == "f":
                xf.write(_formula(cell))
            else:
                yield cell


def _formula(cell: FormulaCell) -> Any:
    shown: Any = cell.shown
    attributes = {"r": cell.coordinate}
    if cell.has_style:
        attributes["s"] = str(cell.style_id)
    if isinstance(shown, Decimal):
        shown = number(shown + NIL)
    elif isinstance(shown, bool):
        attributes["t"], shown = "b", str(int(shown))
    elif isinstance(shown, str):
        attributes["t"] = "str"
    element = Element("c", attributes)
    SubElement(element, "f").text = str(cell.value)[1:]
    if shown is not None:
        SubElement(element, "v").text = shown
    return element
