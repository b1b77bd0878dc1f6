"""Any spreadsheet as people keep or send it, XLSX or CSV of any separator and encoding: its sheets as rows of text.

What is found there is read as people write it, the day before the month (common practice, no source).
"""

import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from dateutil import parser as dates
from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from clubdesk.errors import Refused
from clubdesk.ledger.files import MOST_COLUMNS, rows_of_text, stripped

MOST_ROWS = 5000
MOST_BYTES, MOST_PARTS = 10_000_000, 500
ENDLESS = re.compile(rb"<!--|<!\[CDATA\[|<[^<>]{100000}")
UTF_16 = (b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")
"""How XML begins that is written in 16 bits a letter."""
UNREADABLE = (
    InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, IndexError, OSError, SyntaxError, TypeError,
    AttributeError,
)  # fmt: skip
"""What reading a broken workbook raises; a fault in its XML is a SyntaxError."""

HEAD_WITHIN = 20
SUM_WORDS = ("total", "sum", "count", "grand total")
DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{2}|\d{4})")


@dataclass(frozen=True)
class Sheet:
    """One sheet of a file: its name, and the rows that hold anything with their numbers."""

    name: str
    rows: tuple[tuple[int, list[str]], ...]


def sheets_of(content: bytes) -> list[Sheet]:
    """The sheets of a workbook, or a CSV of any separator and encoding as one. Raises Refused for anything else."""
    if content[:2] == b"PK":
        found = [Sheet(name, tuple(rows)) for name, rows in sheets_of_workbook(content) if rows]
    else:
        found = [Sheet("The file", tuple(_rows_of_text(_decoded(content))))]
    if not any(sheet.rows for sheet in found):
        raise Refused("The file is empty; choose another.")
    return found


def _decoded(content: bytes) -> str:
    if b"\0" in content[:4000] and content[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise Refused("row 1: the file holds binary data; save it as XLSX or CSV.")
    encodings = ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise Refused("row 1: the file is no text that can be read; save it as XLSX or as CSV in UTF-8.")


def _rows_of_text(text: str) -> Iterable[tuple[int, list[str]]]:
    lines = text.splitlines()[:HEAD_WITHIN]
    delimiter = max(",;\t|", key=lambda each: sum(line.count(each) for line in lines))
    return rows_of_text(io.StringIO(text.replace("\r\n", "\n").replace("\r", "\n")), delimiter=delimiter)


def sheets_of_workbook(content: bytes, most: int = 20) -> list[tuple[str, list[tuple[int, list[str]]]]]:
    """The first sheets of a workbook by their names: the rows that hold anything, with their numbers."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            _refuse_endless(parts)
        sheets = load_workbook(io.BytesIO(content), read_only=True, data_only=True).worksheets[:most]
        return [(str(sheet.title), _filled(sheet)) for sheet in sheets]
    except UNREADABLE:
        raise Refused("row 1: this is no workbook that can be read; save it as XLSX or CSV.") from None


def _filled(sheet: Any) -> list[tuple[int, list[str]]]:
    looked_at = sheet.iter_rows(max_row=4 * MOST_ROWS, max_col=MOST_COLUMNS + 1, values_only=True)
    rows = [(number, stripped(number, _texts(row))) for number, row in enumerate(looked_at, 1)]
    return [(number, cells) for number, cells in rows if any(cells)]


def _refuse_endless(parts: zipfile.ZipFile) -> None:
    """Raise Refused for parts that unpack to more than a roll has, and for what keeps a reader of XML busy for minutes:
    one comment or tag of megabytes is looked through anew with each piece that is read. None is written in UTF-16.
    """
    if sum(part.file_size for part in parts.infolist()) > 5 * MOST_BYTES or len(parts.infolist()) > MOST_PARTS:
        raise Refused("The file is too large; leave other sheets and pictures out.")
    for name in parts.namelist():
        part = parts.read(name)
        begins = part.removeprefix(b"\xef\xbb\xbf").lstrip()
        if begins[:2] in UTF_16 or (begins[:1] == b"<" and ENDLESS.search(part)):
            raise ValueError(name)


def _texts(row: Iterable[object]) -> list[str]:
    """The cells as text, without the empty ones at the end, which some programs write by the thousand."""
    texts = [_text(value) for value in row]
    while texts and not texts[-1]:
        texts.pop()
    return texts


def _text(value: object) -> str:
    if isinstance(value, datetime):
        return value.date().isoformat()
    return "" if value is None else str(value).strip()


def is_sum(cells: Sequence[str]) -> bool:
    """Whether a row is the total of those above it."""
    return next((cell for cell in cells if cell), "").casefold().rstrip(":").startswith(SUM_WORDS)


def as_day(text: str) -> date | None:
    """A date as people write it, the day before the month; None for anything else or what leaves a part out."""
    text = DOTTED.sub(r"\1/\2/\3", text.strip())
    if not re.search(r"\d", text) or len(text) > 40 or re.fullmatch(r"[\d\s]+", text):
        return None
    day_first = not re.match(r"\d{4}", text)
    try:
        found = {dates.parse(text, dayfirst=day_first, default=datetime(*start)).date() for start in STARTS}  # noqa: DTZ001
    except (ValueError, OverflowError):
        return None
    return found.pop() if len(found) == 1 else None


STARTS = ((2000, 1, 1), (2004, 2, 2))
"""A part that the text leaves out comes from these, and so differs."""
