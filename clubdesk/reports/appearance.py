"""What a workbook shows besides its figures: formats and colours of cells, hidden rows, and what is drawn over them.

A figure can be made to read otherwise without being changed. Programs write the same look in different words, so that
looks are compared by what they come to.
"""

import re
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from defusedxml.ElementTree import ParseError, fromstring, iterparse
from openpyxl.cell.read_only import ReadOnlyCell
from openpyxl.packaging.relationship import get_dependents, get_rels_path
from openpyxl.utils import get_column_letter

FOREIGN_PARTS = re.compile(r"xl/(vba|externalLinks|embeddings|activeX|ctrlProps|macrosheets)", re.IGNORECASE)
LAID_OVER = {
    "conditionalFormatting": "a format by condition",
    "legacyDrawing": "comments",
    "legacyDrawingHF": "a picture in the header",
    "dataValidation": "a prompt",
    "hyperlink": "a link",
    "mergeCell": "merged cells",
    "picture": "a picture behind it",
    "oleObject": "an embedded object",
    "control": "a control",
}
CELLS = frozenset("cvft")
"""Elements that hold what stands in a cell, and show nothing else."""
PRINTED = ("oddHeader", "oddFooter", "evenHeader", "evenFooter", "firstHeader", "firstFooter")
THEME = {"dk1": "000000", "lt1": "FFFFFF"}
DRAWN = {"pic": "a picture", "sp": "a shape", "cxnSp": "a line", "graphicFrame": "a chart"}
LEAST_SIZE = 3.0
"""Points below which a row, and characters below which a column, cannot be read."""


Look = tuple[str, ...]
USUAL_FONTS = ("", "calibri")


class Looks:
    """How the cells of one workbook look, each style worked out once."""

    def __init__(self, book: Any) -> None:
        self._sheet = book.worksheets[0]
        self._known: dict[int, Look] = {}

    def of(self, style: int) -> Look:
        """What a style says: number format, colours of text and ground, an odd font, and how a cell is filled in."""
        if style not in self._known:
            self._known[style] = _look(ReadOnlyCell(self._sheet, 1, 1, None, "n", style))
        return self._known[style]


def _look(cell: Any) -> Look:
    font, fill = cell.font, cell.fill
    number = re.sub(r"\[\$([^\]-]*)(-[0-9a-f]*)?\]", r"\1", (cell.number_format or "General").lower())
    number = re.sub(r'\\|\s|"', "", number)
    ground = _colour(fill.fgColor) if fill.fill_type else ""
    name = (font.name or "").lower()
    odd = name if name not in USUAL_FONTS else "small" if font.sz and font.sz < 6 else "struck" if font.strike else ""
    alignment = cell.alignment
    filled = "filled" if alignment and (alignment.horizontal == "fill" or alignment.textRotation) else ""
    return number, _colour(font.color) or "000000", ground, odd, filled


def _colour(colour: Any) -> str:
    """Red, green and blue as six digits; a colour of a theme by its number."""
    if colour is None:
        return ""
    tint = f" {colour.tint:.2f}" if colour.tint else ""
    if colour.type == "rgb":
        return f"{str(colour.rgb)[-6:].lower()}{tint}"
    if (colour.type, colour.theme if colour.type == "theme" else colour.indexed) in (("theme", 1), ("indexed", 64)):
        return f"000000{tint}"
    return f"{colour.type} {colour.theme} {colour.indexed}{tint}"


@dataclass
class Sheet:
    """What can be seen of a sheet besides its cells."""

    hidden: list[str] = field(default_factory=list)
    laid_over: Counter[str] = field(default_factory=Counter)
    charts: list[tuple[str, ...]] = field(default_factory=list)
    printed: str = ""

    def see(self, element: Any) -> None:
        """Note what an element of the sheet's part makes be seen, or hides."""
        name = element.tag.rpartition("}")[2]
        if name in CELLS:
            return
        if name == "row":
            if _is_hidden(element, "ht"):
                self.hidden.append(f"row {element.get('r', '?')}")
        elif name == "col" and _is_hidden(element, "width"):
            first, last = (get_column_letter(int(element.get(end))) for end in ("min", "max"))
            self.hidden.append(f"column {first}" if first == last else f"columns {first} to {last}")
        elif name == "sheetFormatPr" and element.get("zeroHeight") in ("1", "true"):
            self.hidden.append("rows without a height")
        elif name == "is" and any(each.tag.endswith("}r") for each in element):
            self.laid_over["text in several looks"] += 1
        elif name in PRINTED:
            self.printed += _printed(element.text or "")
        elif name in LAID_OVER:
            self.laid_over[LAID_OVER[name]] += 1


def what_does_not_belong(archive: zipfile.ZipFile) -> Iterator[str]:
    """A sentence for each thing in a file that no workbook of ours has, and that can make text read otherwise."""
    for name in archive.namelist():
        if FOREIGN_PARTS.match(name):
            yield f"The file holds something that is no part of a workbook of ours: {name}."
    yield from text_that_differs(archive)


def add_drawings(found: Sheet, archive: zipfile.ZipFile, path: str) -> None:
    """Add what stands in the drawings that belong to the part of a sheet."""
    for drawing in _dependents(archive, path, "drawing"):
        for element in fromstring(archive.read(drawing)).iter():
            name = element.tag.rpartition("}")[2]
            if name in DRAWN:
                found.laid_over[DRAWN[name]] += 1
        found.charts += [_chart(archive.read(chart)) for chart in _dependents(archive, drawing, "chart")]
    found.charts.sort()


def _is_hidden(element: Any, size: str) -> bool:
    if element.get("hidden") in ("1", "true"):
        return True
    try:
        return float(element.get(size, "99")) < LEAST_SIZE
    except ValueError:
        return True


def _dependents(archive: zipfile.ZipFile, path: str, kind: str) -> list[str]:
    rels: str = get_rels_path(path)  # type: ignore[no-untyped-call]  # the stubs leave it untyped
    if rels not in archive.namelist():
        return []
    found = get_dependents(archive, rels)
    return [each.target.lstrip("/") for each in found if each.Type.rpartition("/")[2] == kind]


def _chart(content: bytes) -> tuple[str, ...]:
    """The cells that a chart draws, in their order, and its words."""
    return tuple(
        re.sub(r"[$']", "", element.text or "")
        for element in fromstring(content).iter()
        if element.tag.rpartition("}")[2] in ("f", "t")
    )


def _printed(text: str) -> str:
    """What stands at the foot or head of a page, without its fonts and sizes."""
    return re.sub(r'&"[^"]*"|&K[0-9A-F]{6}|&\d+|\s', "", text)


def text_that_differs(archive: zipfile.ZipFile) -> Iterator[str]:
    """A sentence where text of several looks stands in the file, or its theme gives text another colour than black."""
    names = archive.namelist()
    if "xl/sharedStrings.xml" in names:
        with archive.open("xl/sharedStrings.xml") as part:
            if any(element.tag.endswith("}rPr") for _, element in iterparse(part, events=("end",))):
                yield "Some text of the file has several looks in one cell."
    for theme in (name for name in names if name.startswith("xl/theme/")):
        for element in fromstring(archive.read(theme)).iter():
            name = element.tag.rpartition("}")[2]
            colours = [each.get("lastClr") or each.get("val") for each in element] if name in THEME else []
            if colours and [each.upper() for each in colours] != [THEME[name]]:
                yield "The colours of the file’s theme are others than black on white."


def differences(name: str, theirs: Sheet, ours: Sheet) -> Iterator[str]:
    """A sentence for each thing that a file's sheet shows otherwise than the book's."""
    if theirs.hidden:
        more = f" and {len(theirs.hidden) - 3} more" if len(theirs.hidden) > 3 else ""
        yield f"{name}: {', '.join(theirs.hidden[:3])}{more} cannot be seen."
    for what in theirs.laid_over - ours.laid_over:
        yield f"{name}: {what} was added."
    for what in ours.laid_over - theirs.laid_over:
        yield f"{name}: {what} was taken away."
    if theirs.charts != ours.charts:
        yield f"{name}: a chart draws other cells than the book’s, or says something else of them."
    if theirs.printed != ours.printed:
        yield f"{name}: what is printed at the head or foot of its pages is not the book’s."


BROKEN = (ParseError, KeyError, ValueError, OSError, zipfile.BadZipFile)
