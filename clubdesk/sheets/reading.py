"""A sheet of a workbook as some program saved it, read once through: what each cell holds, shows, and its style."""

import io
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from defusedxml.ElementTree import iterparse
from openpyxl.reader.excel import ExcelReader
from openpyxl.utils.cell import coordinate_to_tuple
from openpyxl.worksheet._read_only import ReadOnlyWorksheet
from openpyxl.worksheet._reader import FORMULA_TAG, INLINE_STRING, WorkSheetParser
from openpyxl.xml.constants import SHEET_MAIN_NS

ROW, TEXT, RUN = f"{{{SHEET_MAIN_NS}}}row", f"{{{SHEET_MAIN_NS}}}t", f"{{{SHEET_MAIN_NS}}}r"
SeesElement = Callable[[Any], object]


class Cell(NamedTuple):
    """`value` is the formula where there is one, and `shown` what the program saved beside it."""

    value: Any
    shown: Any
    style: int


NOTHING = Cell(None, None, 0)
Row = Sequence[Cell]


class _OfAnySize(ReadOnlyWorksheet):
    """openpyxl reads a sheet to its end for its size where it says none, and believes what it says."""

    def _get_size(self) -> None:
        """Every row is read, whatever the sheet says."""


class _Reader(ExcelReader):
    def read_worksheets(self) -> None:
        book: Any = self.wb
        told: Any = self.parser.find_sheets()
        for sheet, part in told:
            if "chartsheet" in part.Type and part.target in self.valid_files:
                self.read_chartsheet(sheet, part)
            elif part.target in self.valid_files:
                found = _OfAnySize(book, sheet.name, part.target, self.shared_strings)
                found.sheet_state = sheet.state
                book._sheets.append(found)


def opened(content: bytes) -> Any:
    """The workbook in `content`, to be read only. Raises what openpyxl does where it is none."""
    reader = _Reader(io.BytesIO(content), read_only=True)
    reader.read()
    return reader.wb


def rows_of(sheet: Any, sees: SeesElement) -> Iterator[Row]:
    """Every row of a sheet of a workbook that was `opened`, from the first, empty ones too.

    `sees` is given each element of the sheet's part once it is whole. Raises what openpyxl does for a part that is not.
    """
    book, expected = sheet.parent, 1
    with book._archive.open(sheet._worksheet_path) as part:
        parser = _Parser(
            part, sheet._shared_strings, epoch=book.epoch, date_formats=book._date_formats,
            timedelta_formats=book._timedelta_formats,
        )  # fmt: skip
        for number, cells in parser.rows(sees):
            for _ in range(expected, number):
                yield ()
            if expected <= number:
                yield _placed(cells)
            expected = max(expected, number + 1)


def see_around(sheet: Any, sees: SeesElement) -> None:
    """Give `sees` each element around the rows of a sheet that was written here."""
    before, _, rows = sheet.parent._archive.read(sheet._worksheet_path).partition(b"<sheetData>")
    for _, element in iterparse(io.BytesIO(before + rows.partition(b"</sheetData>")[2]), events=("end",)):
        sees(element)


def _placed(cells: list[dict[str, Any]]) -> Row:
    width = cells[-1]["column"] if cells else 0
    row = [NOTHING] * width
    for cell in cells:
        if cell["column"] <= width:
            row[cell["column"] - 1] = Cell(cell["value"], cell.get("shown"), cell["style_id"])
    return row


class _Parser(WorkSheetParser):
    """openpyxl's own, which reads a formula or what it shows, made to read both; and plain text without detours."""

    def rows(self, sees: SeesElement) -> Iterator[tuple[int, list[dict[str, Any]]]]:
        for _, element in iterparse(self.source, events=("end",)):
            sees(element)
            if element.tag == ROW:
                yield self.parse_row(element)
                element.clear()

    def parse_cell(self, element: Any) -> dict[str, Any]:
        if element.find(FORMULA_TAG) is not None:
            place, self.data_only = self.col_counter, True
            shown = super().parse_cell(element)["value"]
            self.col_counter, self.data_only = place, False
            return {**super().parse_cell(element), "shown": shown}
        text = element.find(INLINE_STRING) if element.get("t") == "inlineStr" else None
        if text is None or element.get("r") is None:
            return super().parse_cell(element)
        row, self.col_counter = coordinate_to_tuple(element.get("r"))
        plain = [text.findtext(TEXT, ""), *(run.findtext(TEXT, "") for run in text.iterfind(RUN))]
        style = int(element.get("s", 0))
        return {"row": row, "column": self.col_counter, "value": "".join(plain), "data_type": "s", "style_id": style}
