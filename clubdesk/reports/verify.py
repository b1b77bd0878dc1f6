"""Whether a workbook or a PDF is the book's own: it is made again and compared, cell by cell or line by line."""

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from itertools import zip_longest
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from pypdf import PdfReader

from clubdesk.errors import Refused
from clubdesk.ledger.models import JournalEntry
from clubdesk.ledger.selectors import year_ending
from clubdesk.money import CENT
from clubdesk.reports.papers import asked_of
from clubdesk.reports.workbook import write_workbook
from clubdesk.reports.workbook.book import MARK

MOST_FAULTS = 50
LARGEST = 100 * 1024 * 1024
UNKNOWN = "This is no workbook or statement that this program made, or it was stripped of what says so."


@dataclass(frozen=True)
class Verdict:
    """What was found: what the file is, and a sentence for each figure that differs."""

    what: str
    faults: list[str]

    @property
    def is_genuine(self) -> bool:
        return not self.faults


def verify(content: bytes) -> Verdict:
    """Compare a file with the book. Raises Refused where it is nothing that can be compared."""
    if len(content) > LARGEST:
        raise Refused("The file is larger than 100 MB; that is no file of ours.")
    if content.startswith(b"%PDF-"):
        return _pdf(content)
    return _workbook(content)


def _limited(faults: Iterator[str]) -> list[str]:
    found: list[str] = []
    for fault in faults:
        if len(found) == MOST_FAULTS:
            return [*found, "… and more."]
        found.append(fault)
    return found


def _open(content: bytes, **how: Any) -> Any:
    try:
        return load_workbook(io.BytesIO(content), read_only=True, **how)
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, TypeError, SyntaxError):
        raise Refused("The file is neither a PDF nor a workbook (XLSX) that can be opened.") from None


def _workbook(content: bytes) -> Verdict:
    file = _open(content)
    found = re.fullmatch(rf"{MARK} (\d{{4}}) (\S+) (\d+) (\S+)", (file.properties.keywords or "").strip())
    if found is None:
        raise Refused(UNKNOWN)
    year = year_ending(int(found[1]))
    what = f"Treasurer's workbook of the {str(year)[0].lower()}{str(year)[1:]}, made at entry {found[3]}"
    faults = _origin(int(found[3]), found[4])
    if faults:
        return Verdict(what, faults)
    figures: dict[str, list[list[Any]]] = {}
    again = io.BytesIO()
    write_workbook(
        year, again, made_on=_day(found[2]), made_by=file.properties.subject or "",
        copies=lambda name: figures.setdefault(name, []).append,
    )  # fmt: skip
    book = _open(again.getvalue())
    faults = _limited(_differences(file, book, _open(content, data_only=True), figures))
    since = JournalEntry.objects.filter(year=year, number__gt=int(found[3])).count()
    if faults and since:
        faults.append(f"The book has {since} entries of this year that came after the file; they may be why.")
    return Verdict(what, faults)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(UNKNOWN) from None


def _origin(number: int, digest: str) -> list[str]:
    """Whether the book has the entry that the file says was its last, with that very digest."""
    entry = JournalEntry.objects.filter(number=number).first()
    if number and (entry is None or entry.digest != digest):
        return [f"The file was not made from this book: its entry {number} has another digest here, or is missing."]
    return []


def _differences(file: Any, book: Any, shown: Any, figures: dict[str, list[list[Any]]]) -> Iterator[str]:
    """A sentence for each cell that is not the book's, by formula or typed figure; and by the figure it shows."""
    if file.sheetnames != book.sheetnames:
        missing = [name for name in book.sheetnames if name not in file.sheetnames]
        extra = [name for name in file.sheetnames if name not in book.sheetnames]
        if missing:
            yield f"Sheets are missing: {', '.join(missing)}."
        if extra:
            yield f"Sheets were added: {', '.join(extra)}."
    for name in book.sheetnames:
        if name not in file.sheetnames:
            continue
        rows = zip_longest(
            file[name].iter_rows(values_only=True), book[name].iter_rows(values_only=True),
            shown[name].iter_rows(values_only=True), figures.get(name, []), fillvalue=(),
        )  # fmt: skip
        for number, (theirs, ours, seen, known) in enumerate(rows, 1):
            yield from _row(name, number, theirs, ours, seen, known)


def _row(name: str, number: int, theirs: Any, ours: Any, seen: Any, known: Any) -> Iterator[str]:
    for place, (one, other, shown, figure) in enumerate(zip_longest(theirs, ours, seen, known), 1):
        cell = f"{name}!{get_column_letter(place)}{number}"
        if _alike(one) != _alike(other):
            yield f"{cell}: the file has {_words(one)}, the book {_words(other)}."
        elif _is_formula(one) and shown is not None and figure is not None and _alike(shown) != _alike(figure):
            yield f"{cell}: the file shows {_words(shown)}, the book comes to {_words(figure)}."


def _is_formula(value: Any) -> bool:
    return isinstance(value, str) and value.startswith("=")


def _alike(value: Any) -> Any:
    """A value so that the same figure is the same however a program saved it."""
    if value is None or value == "":
        return None
    if isinstance(value, bool):
        return value
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, int | float | Decimal):
        try:
            return Decimal(str(value)).quantize(CENT)
        except InvalidOperation:
            return value
    if _is_formula(value):
        return re.sub(r"['$\s]", "", value).upper().replace("TRUE()", "TRUE")
    return re.sub(r"\s+", " ", value).strip() if isinstance(value, str) else value


def _words(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, datetime | date):
        return f"{value:%-d %b %Y}"
    return f"“{value}”" if isinstance(value, str) else str(value)


def _pdf(content: bytes) -> Verdict:
    try:
        reader = PdfReader(io.BytesIO(content), strict=False)
        keywords, lines = str(reader.metadata.get("/Keywords", "") if reader.metadata else ""), _lines(reader)
    except Exception:  # whatever a reader does with bytes from outside, the answer is the same
        raise Refused("The file starts like a PDF but is not whole.") from None
    asked, made = asked_of(keywords), re.search(r"made on \d{1,2} \w{3} \d{4}", "\n".join(lines))
    if asked is None or made is None:
        raise Refused(UNKNOWN)
    try:
        again = asked.pdf(made[0])
    except (Refused, ValueError, OverflowError):
        raise Refused(UNKNOWN) from None
    if again == content:
        return Verdict(asked.words, [])
    faults = _limited(_lines_that_differ(lines, _lines(PdfReader(io.BytesIO(again)))))
    same = "Every word is the book’s, but the file was changed otherwise: something may lie over it."
    return Verdict(asked.words, faults or [same])


def _lines(reader: PdfReader) -> list[str]:
    return [line.strip() for page in reader.pages for line in page.extract_text().splitlines() if line.strip()]


def _lines_that_differ(theirs: list[str], ours: list[str]) -> Iterator[str]:
    for place, (one, other) in enumerate(zip_longest(theirs, ours, fillvalue=""), 1):
        if one != other:
            yield f"Line {place}: the file has {_words(one)}, the book {_words(other)}."
