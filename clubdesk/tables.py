"""A table told once: its columns by name, for a page, a file of comma-separated values, a workbook and paper alike.

What a cell holds decides how it reads: an amount as the screens print it or plain in a file, a day in words or by ISO
8601. What its column is of decides where it stands: amounts and figures to the right.
"""

import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any, Generic, Literal, Protocol, TypeVar

from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.money import plain, shown

Kind = Literal["text", "name", "amount", "date", "number", "figure", "formula"]
"""A name is text that may be another later; a figure is text that stands to the right; a formula comes to an amount."""

TO_THE_RIGHT: frozenset[Kind] = frozenset(("amount", "figure", "formula"))
RISKY = tuple("=+-@\t\r")
"""What text begins with that a spreadsheet would take for a formula. Source: OWASP, CSV injection; CWE-1236."""

MOST_FOLDED = 6

Row = TypeVar("Row")


@dataclass(frozen=True)
class Column(Generic[Row]):
    """What a table has of each row.

    `width` is in millimetres on paper. `in_files` is its title in a file, its own in small letters unless it says
    otherwise. `link` gives the
    address of the page that a row's cell leads to. `hides_zero` leaves an amount of zero blank on pages and paper.
    """

    title: str
    value: Callable[[Row], object]
    kind: Kind = "text"
    width: float = 0
    in_files: str = ""
    link: Callable[[Row], str] | None = None
    hides_zero: bool = False

    @property
    def is_right(self) -> bool:
        return self.kind in TO_THE_RIGHT


Columns = Mapping[str, Column[Row]]


def pick(columns: Columns[Row], *names: str) -> dict[str, Column[Row]]:
    """Those of the columns, in that order."""
    return {name: columns[name] for name in names}


@dataclass(frozen=True)
class Labelled:
    """A row of words, which stand in the column that heads the rows, and figures by the names of other columns."""

    words: str
    figures: Mapping[str, object]
    is_total: bool = False


def labelled(first: str, titles: Mapping[str, str], kind: Kind = "amount") -> dict[str, Column[Labelled]]:
    """Columns of such rows: the first, which has their words, and those of their figures by name."""

    def column(name: str) -> Column[Labelled]:
        return Column(titles[name], lambda row: row.figures.get(name), kind)

    return {"words": Column(first, lambda row: row.words), **{name: column(name) for name in titles}}


@dataclass(frozen=True)
class Cell:
    """A cell as a page or paper shows it."""

    text: str
    is_right: bool = False
    heads: bool = False
    url: str = ""
    label: str = ""
    """The heading of its column."""


@dataclass(frozen=True)
class ShownRow:
    cells: Sequence[Cell]
    is_strong: bool = False


@dataclass(frozen=True)
class Table(Generic[Row]):
    """Rows under columns. `heads` names the column that says which row it is, the first unless it is said; `strong`
    says which rows are totals; `empty` stands where there is no row.
    """

    title: str
    columns: Columns[Row]
    rows: Sequence[Row]
    feet: Sequence[Labelled] = ()
    heads: str = ""
    strong: Callable[[Row], bool] | None = None
    empty: str = ""
    note: str = ""

    @property
    def shown_rows(self) -> Iterator[ShownRow]:
        """The rows and what stands below them, as a page or paper shows them."""
        for row in self.rows:
            cells = [self._cell(name, column, row) for name, column in self.columns.items()]
            yield ShownRow(cells, bool(self.strong and self.strong(row)))
        if self.empty and not self.rows:
            yield self._foot(Labelled(self.empty, {}))
        yield from map(self._foot, self.feet)

    @property
    def folds(self) -> bool:
        """Whether it has so few columns that each row may fold into a few lines on a phone."""
        return len(self.columns) <= MOST_FOLDED

    @property
    def headings(self) -> Sequence[Column[Row]]:
        return list(self.columns.values())

    @property
    def _first(self) -> str:
        return self.heads or next(iter(self.columns))

    def changed(self, name: str, **changes: Any) -> "Table[Row]":
        """The same with that column changed."""
        return replace(self, columns={**self.columns, name: replace(self.columns[name], **changes)})

    def _cell(self, name: str, column: Column[Row], row: Row) -> Cell:
        value = column.value(row)
        text = "" if column.hides_zero and not value else in_words(value)
        url = column.link(row) if column.link else ""
        return Cell(text, column.is_right, name == self._first, url, column.title)

    def _foot(self, foot: Labelled) -> ShownRow:
        cells = [
            Cell(foot.words, heads=True)
            if name == self._first
            else Cell(in_words(foot.figures.get(name)), column.is_right, label=column.title)
            for name, column in self.columns.items()
        ]
        return ShownRow(cells, foot.is_total)


def together(words: str, columns: Columns[Row], rows: Sequence[Row], *names: str) -> Labelled:
    """A foot with what those columns come to."""
    figures = {name: [columns[name].value(row) for row in rows] for name in names}
    sums = {name: sum((_decimal(each) for each in found), Decimal(0)) for name, found in figures.items()}
    return Labelled(words, sums, is_total=True)


def _decimal(value: object) -> Decimal:
    if isinstance(value, Money):
        value = value.amount
    assert isinstance(value, Decimal), "only amounts are summed"
    return value


def in_words(value: object) -> str:
    """A cell as a page or paper shows it; nothing where there is none."""
    if value is None:
        return ""
    if isinstance(value, Money | Decimal):
        return shown(value)
    return day_text(value) if isinstance(value, date) else str(value)


def in_file(value: object) -> str:
    """A cell in a file: amounts plain, days by ISO 8601; text that a spreadsheet would take for a formula is marked."""
    if value is None:
        return ""
    if isinstance(value, Money | Decimal):
        return plain(value)
    if isinstance(value, date):
        return value.isoformat()
    return f"'{value}" if isinstance(value, str) and value.startswith(RISKY) else str(value)


class Writes(Protocol):
    """Whatever text can be written to: a file, or an answer of the site."""

    def write(self, text: str, /) -> object: ...


def write_csv(table: Table[Row], file: Writes, ends: str = "\r\n") -> None:
    """The table's rows as comma-separated values under the columns' titles in files, each line with that end."""
    writer = csv.writer(file, lineterminator=ends)
    writer.writerow([column.in_files or column.title.lower() for column in table.headings])
    for row in table.rows:
        writer.writerow([in_file(column.value(row)) for column in table.headings])
