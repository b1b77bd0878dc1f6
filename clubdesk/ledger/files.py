"""Reading a CSV file whose faults are named by its rows."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from clubdesk.errors import Refused


@dataclass
class Faults:
    """Sentences about a file's rows, raised together."""

    sentences: list[tuple[int, str]] = field(default_factory=list)

    def add(self, row: int, sentence: str) -> None:
        self.sentences.append((row, f"row {row}: {sentence}"))

    def refuse(self) -> None:
        if self.sentences:
            raise Refused([sentence for _, sentence in sorted(self.sentences)])


MOST_COLUMNS = 200


@dataclass(frozen=True)
class Row:
    number: int
    cells: dict[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells[column]


def read_rows(content: bytes, columns: Sequence[str]) -> list[Row]:
    """The rows of a CSV file below its header, which has exactly these columns in this order."""
    return rows_below(read_cells(content), columns)


def read_cells(content: bytes) -> list[tuple[int, list[str]]]:
    """The cells of a CSV file, stripped, each row with the line of the file where it ends; empty rows left out."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise Refused(f"row {line}: the file is not UTF-8 text; save it as CSV in UTF-8.") from None
    if "\0" in text:
        raise Refused("row 1: the file holds binary data; save it as CSV in UTF-8.")
    return rows_of_text(io.StringIO(text, newline=""), strict=True)


def rows_of_text(text: io.StringIO, *, delimiter: str = ",", strict: bool = False) -> list[tuple[int, list[str]]]:
    """The rows of delimited text that hold anything, each with the line where it ends."""
    reader = csv.reader(text, delimiter=delimiter, strict=strict)
    try:
        rows = [(reader.line_num, stripped(reader.line_num, cells)) for cells in reader]
    except csv.Error as error:
        raise Refused(f"row {reader.line_num}: the row cannot be read as CSV ({error}).") from None
    return [(number, cells) for number, cells in rows if any(cells)]


def stripped(row: int, cells: list[str]) -> list[str]:
    """The cells of a row without blanks around them. Raises Refused for more columns than any file of a club has."""
    if len(cells) > MOST_COLUMNS:
        raise Refused(f"row {row}: there are more than {MOST_COLUMNS} columns; choose the right file or separator.")
    return [cell.strip() for cell in cells]


def rows_below(rows: list[tuple[int, list[str]]], columns: Sequence[str], optional: Sequence[str] = ()) -> list[Row]:
    """The rows below the header by the names of their columns; with `optional` ones these come in any order."""
    if not rows:
        raise Refused(f"row 1: the file is empty; it needs a header row {','.join(columns)}.")
    header = [cell.lower() for cell in rows[0][1]]
    if not optional and header != list(columns):
        raise Refused(f"row {rows[0][0]}: the header must be {','.join(columns)}.")
    if missing := [column for column in columns if column not in header]:
        raise Refused(f"row {rows[0][0]}: the header lacks {', '.join(missing)}.")
    if unknown := [column for column in header if column not in (*columns, *optional)]:
        raise Refused(f"row {rows[0][0]}: nothing is known of the column “{unknown[0]}”.")
    if len(set(header)) < len(header):
        raise Refused(f"row {rows[0][0]}: a column stands there twice.")
    if len(rows) == 1:
        raise Refused(f"row {rows[0][0]}: there is nothing below the header.")
    faults = Faults()
    for number, cells in rows[1:]:
        if len(cells) != len(header):
            faults.add(number, f"{len(cells)} columns where {len(header)} are needed.")
    faults.refuse()
    blank = dict.fromkeys((*columns, *optional), "")
    return [Row(number, blank | dict(zip(header, cells, strict=True))) for number, cells in rows[1:]]
