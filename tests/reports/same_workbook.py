"""The workbook of the same book before and after: two files compared sheet by sheet and cell by cell, in words.

`python -m tests.reports.same_workbook BEFORE.xlsx AFTER.xlsx` names the first differences.
"""

import io
import sys
from collections.abc import Iterator
from itertools import islice, zip_longest
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

FEW = 20


def differences(before: bytes, after: bytes, most: int = FEW) -> list[str]:
    """The first differences between two workbooks, a sentence each; none where they are the same."""
    return list(islice(_differences(*(load_workbook(io.BytesIO(content)) for content in (before, after))), most))


def _differences(before: Any, after: Any) -> Iterator[str]:
    if before.sheetnames != after.sheetnames:
        yield f"The sheets are {_listed(after.sheetnames)}; they were {_listed(before.sheetnames)}."
    for name in (name for name in before.sheetnames if name in after.sheetnames):
        one, other = before[name], after[name]
        yield from _told(name, set_up(one), set_up(other))
        yield from _told(name, sizes(one), sizes(other))
        yield from _told(name, charts(one), charts(other))
        for number, (row, other_row) in enumerate(zip_longest(one.rows, other.rows, fillvalue=()), 1):
            for place, cells in enumerate(zip_longest(row, other_row), 1):
                yield from _told(f"{name}!{get_column_letter(place)}{number}", *map(look, cells))


def _told(where: str, before: dict[str, Any], after: dict[str, Any]) -> Iterator[str]:
    for what in before | after:
        was, now = before.get(what), after.get(what)
        if was != now:
            yield f"{where}: {what} is {_named(now)}; it was {_named(was)}."


def look(cell: Any) -> dict[str, Any]:
    """What a cell holds and how it looks; of one that holds nothing, nothing."""
    if cell is None or (cell.value is None and not cell.has_style):
        return {}
    font, fill, at, edge = cell.font, cell.fill, cell.alignment, cell.border
    return {
        "the formula" if cell.data_type == "f" else "the value": cell.value,
        "the kind of value": cell.data_type,
        "the number format": cell.number_format,
        "the font": (
            font.name,
            font.size,
            "bold" if font.bold else "",
            "italic" if font.italic else "",
            font.underline,
        ),
        "the colour": font.color.rgb if font.color else None,
        "the fill": (fill.fill_type, fill.fgColor.rgb),
        "the border": tuple(line and line.style for line in (edge.left, edge.right, edge.top, edge.bottom)),
        "the alignment": (at.horizontal, at.vertical, at.indent, at.wrap_text),
        "the quote before it": cell.quotePrefix,
    }


def set_up(sheet: Any) -> dict[str, Any]:
    """How a sheet is shown and printed."""
    page = sheet.page_setup
    return {
        "the paper": (page.orientation, page.paperSize),
        "the fit to pages": (sheet.sheet_properties.pageSetUpPr.fitToPage, page.fitToWidth, page.fitToHeight),
        "the rows printed on every page": sheet.print_title_rows,
        "the foot": (sheet.oddFooter.left.text, sheet.oddFooter.right.text),
        "the frozen place": sheet.freeze_panes,
        "the grid": sheet.sheet_view.showGridLines,
        "the state": sheet.sheet_state,
    }


def sizes(sheet: Any) -> dict[str, Any]:
    widths = {f"the width of column {key}": each.width for key, each in sheet.column_dimensions.items()}
    return widths | {f"the height of row {key}": each.height for key, each in sheet.row_dimensions.items()}


def charts(sheet: Any) -> dict[str, Any]:
    """Each chart by its number: its kind, where it stands, its words and the cells that it draws."""
    found = {}
    for number, chart in enumerate(sheet._charts, 1):
        start = chart.anchor._from
        words = [run.t for part in chart.title.tx.rich.p for run in part.r or ()] if chart.title else []
        drawn = [(each.tx.strRef.f, each.cat.numRef and each.cat.numRef.f, each.val.numRef.f) for each in chart.series]
        found[f"chart {number}"] = (chart.tagname, f"{get_column_letter(start.col + 1)}{start.row + 1}", words, drawn)
    return found


def _listed(names: list[str]) -> str:
    return ", ".join(names)


def _named(value: Any) -> str:
    return "nothing" if value is None else f"“{value}”" if isinstance(value, str) else str(value)


if __name__ == "__main__":
    for sentence in differences(*(Path(name).read_bytes() for name in sys.argv[1:3])) or ["The two are the same."]:
        print(sentence)
