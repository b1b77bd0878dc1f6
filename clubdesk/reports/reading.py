"""A file's sheets beside those that the book makes now, each read once through: digests, looks and cells together."""

import io
import re
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice, zip_longest
from typing import Any

from openpyxl.utils import get_column_letter

from clubdesk.errors import Refused
from clubdesk.reports import appearance
from clubdesk.reports.comparison import Comparison, Difference
from clubdesk.sheets.canonical import Contents, SheetDigest, is_formula
from clubdesk.sheets.reading import Row, opened, rows_of, see_around

LARGEST_UNPACKED = 1024 * 1024 * 1024
MOST_FAULTS = 50
A_MEGABYTE = 1024 * 1024
SAYS_WHEN = "docProps/core.xml"
OF_ONE_SHEET = re.compile(r"xl/worksheets/sheet\d+\.xml")


class Opened:
    """A workbook as openpyxl opens it, and the archive of its parts. Raises Refused where it is none."""

    def __init__(self, content: bytes):
        try:
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                if sum(part.file_size for part in archive.infolist()) > LARGEST_UNPACKED:
                    raise Refused("The file unpacks to more than a gigabyte; that is no file of ours.")
            self.book = opened(content)
        except (*appearance.BROKEN, TypeError, SyntaxError):
            raise Refused("The file is neither a PDF nor a workbook (XLSX) that can be opened.") from None
        self.archive: zipfile.ZipFile = self.book._archive

    @property
    def names(self) -> list[str]:
        return list(self.book.sheetnames)


@dataclass(frozen=True)
class Made:
    """The workbook that the book makes now: of each sheet the digest, its rows with formulas by their value, and its
    rows as they are read again.
    """

    opened: Opened
    digests: dict[str, SheetDigest]
    figures: dict[str, list[list[Any]]]
    rows: dict[str, list[Row]]


@dataclass
class Reading:
    """What one reading of all sheets found; of looks and cells no more than are told."""

    digests: dict[str, SheetDigest] = field(default_factory=dict)
    looks: list[str] = field(default_factory=list)
    cells: list[Difference] = field(default_factory=list)

    def is_as_made(self, contents: str) -> bool:
        """Whether the cells come to the digest in a stamp, and so do the figures that are shown beside formulas."""
        found, (cells, _, figures) = Contents.of(self.digests.values()), contents.partition(".")
        shows_none = not any(each.has_figures for each in self.digests.values())
        return found.cells == cells and (found.figures == figures or shows_none)


def read_beside(file: Opened, made: Made, comparison: Comparison, *, cell_by_cell: bool) -> Reading:
    """Read every sheet of the file. Where not `cell_by_cell` no cell is compared, and its look with any of its sheet.

    A sheet whose part of the file is to the byte what the book makes is not read at all.
    """
    found = Reading()
    same, both = _sheets_that_are_the_same(file, made), [name for name in made.opened.names if name in file.names]
    for name in both:
        if name in same:
            found.digests[name] = made.digests[name]
            comparison.note_unchanged(made.figures.get(name, []))
        else:
            _read(name, file, made, comparison, cell_by_cell, found)
    for name in (sheet.title for sheet in file.book.worksheets if sheet.title not in both):
        found.digests[name] = SheetDigest(name)
        for number, row in enumerate(rows_of(file.book[name], _nothing), 1):
            _digest(found.digests[name], number, row)
    in_order = [name for name in file.names if name in found.digests]
    found.digests = {name: found.digests[name] for name in in_order}
    return found


def _nothing(element: Any) -> None:
    """Of a sheet that was added nothing but its cells is read."""


def _read(name: str, file: Opened, made: Made, comparison: Comparison, cell_by_cell: bool, found: Reading) -> None:
    theirs, ours = appearance.Sheet(), appearance.Sheet()
    own_rows = made.rows.get(name, [])
    looks = _looks_usual(file, made, own_rows) if not cell_by_cell else _looks_alike(file, made)
    digest = found.digests[name] = SheetDigest(name)
    odd: list[str] = []
    rows = zip_longest(
        rows_of(file.book[name], theirs.see), own_rows if cell_by_cell else (),
        made.figures.get(name, []) if cell_by_cell else (), fillvalue=(),
    )  # fmt: skip
    for number, (row, own_row, figures) in enumerate(rows, 1):
        _digest(digest, number, row)
        if len(odd) <= MOST_FAULTS:
            odd += (f"{name}!{get_column_letter(place)}{number}" for place in looks(row, own_row))
        if cell_by_cell and len(found.cells) < MOST_FAULTS:
            room = MOST_FAULTS - len(found.cells)
            found.cells += islice(comparison.row(name, number, row, own_row, figures), room)
    see_around(made.opened.book[name], ours.see)
    appearance.add_drawings(theirs, file.archive, file.book[name]._worksheet_path)
    appearance.add_drawings(ours, made.opened.archive, made.opened.book[name]._worksheet_path)
    found.looks += appearance.differences(name, theirs, ours)
    found.looks += (
        f"{where}: it looks otherwise than in the book’s workbook, by its format, colour or size." for where in odd
    )


def _digest(digest: SheetDigest, number: int, row: Row) -> None:
    digest.add(number, [cell.value for cell in row])
    for place, cell in enumerate(row):
        if is_formula(cell.value) and not is_formula(cell.shown):
            digest.add_figure(number, place, cell.shown)


OddPlaces = Callable[[Row, Row], Iterator[int]]


def _looks_alike(file: Opened, made: Made) -> OddPlaces:
    """The places in a row of the file where a cell looks otherwise than the book's."""
    theirs, own = appearance.Looks(file.book), appearance.Looks(made.opened.book)

    def odd(row: Row, own_row: Row) -> Iterator[int]:
        for place, (cell, other) in enumerate(zip(row, own_row, strict=False), 1):
            if cell.value is not None and theirs.of(cell.style) != own.of(other.style):
                yield place

    return odd


def _looks_usual(file: Opened, made: Made, own_rows: Iterable[Row]) -> OddPlaces:
    """The places in a row of the file where a cell looks like none of the book's sheet."""
    theirs, own = appearance.Looks(file.book), appearance.Looks(made.opened.book)
    usual = {own.of(style) for style in {cell.style for row in own_rows for cell in row}}

    def odd(row: Row, own_row: Row) -> Iterator[int]:
        for place, cell in enumerate(row, 1):
            if cell.value is not None and theirs.of(cell.style) not in usual:
                yield place

    return odd


def _sheets_that_are_the_same(file: Opened, made: Made) -> Sequence[str]:
    """The sheets that are to the byte what the book makes; none where something that all share is another."""
    one, other = file.archive, made.opened.archive
    if sorted(one.namelist()) != sorted(other.namelist()) or len(set(one.namelist())) < len(one.namelist()):
        return ()
    apart = {name for name in one.namelist() if name != SAYS_WHEN and not _is_same_part(one, other, name)}
    if not all(OF_ONE_SHEET.fullmatch(name) for name in apart):
        return ()
    return [sheet.title for sheet in file.book.worksheets if sheet._worksheet_path not in apart]


def _is_same_part(one: zipfile.ZipFile, other: zipfile.ZipFile, name: str) -> bool:
    if one.getinfo(name).file_size != other.getinfo(name).file_size:
        return False
    with one.open(name) as theirs, other.open(name) as ours:
        while piece := theirs.read(A_MEGABYTE):
            if piece != ours.read(A_MEGABYTE):
                return False
    return True
