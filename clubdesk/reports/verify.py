"""Whether a workbook or a PDF is the book's own: it is made again and compared, cell by cell or line by line."""

import io
import re
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from itertools import zip_longest
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from pypdf import PdfReader

from clubdesk.errors import Refused
from clubdesk.ledger.models import FinancialYear, JournalEntry
from clubdesk.ledger.selectors import ZERO, year_ending
from clubdesk.money import CENT, as_amount, shown
from clubdesk.reports import appearance
from clubdesk.reports.papers import asked_of
from clubdesk.reports.seal import Seal, Stamp, read_stamp
from clubdesk.reports.selectors import balances_at
from clubdesk.reports.sheets import Named
from clubdesk.reports.workbook.book import MARK, write_stamped
from clubdesk.reports.workbook.journal import JOURNAL_KINDS, journal_rows

MOST_FAULTS = 50
LARGEST = 100 * 1024 * 1024
LARGEST_UNPACKED = 1024 * 1024 * 1024
FIRST_ROW = 5
"""The first row below the header of a sheet."""
UNSIGNED = "By whom and when it was made is not attested: its stamp was not signed with the secret key of this site."
UNKNOWN = "This is no workbook or statement that this program made, or it was stripped of what says so."


@dataclass(frozen=True)
class Verdict:
    """What was found: what the file is, a sentence for each figure that differs, and what else is to be known.

    `compared` says what was compared where it was not all of the file.
    """

    what: str
    faults: list[str]
    notes: list[str] = field(default_factory=list)
    compared: str = "every figure"

    @property
    def is_genuine(self) -> bool:
        return not self.faults

    @property
    def said(self) -> str:
        """A sentence for a file that is genuine."""
        return f"Genuine. {self.what}: {self.compared} is the book’s."


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
    """The workbook in `content`, every row of every sheet to be read whatever the sheet says of its size."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(part.file_size for part in archive.infolist()) > LARGEST_UNPACKED:
                raise Refused("The file unpacks to more than a gigabyte; that is no file of ours.")
        book = load_workbook(io.BytesIO(content), read_only=True, **how)
    except (*appearance.BROKEN, TypeError, SyntaxError):
        raise Refused("The file is neither a PDF nor a workbook (XLSX) that can be opened.") from None
    for sheet in book.worksheets:
        sheet.reset_dimensions()
    return book


def _workbook(content: bytes) -> Verdict:
    file = _open(content)
    made_by = file.properties.subject or ""
    read = read_stamp(file.properties.keywords or "", made_by)
    about = re.fullmatch(rf"{MARK} (\d{{4}})", read.about) if read else None
    if read is None or about is None:
        raise Refused(UNKNOWN)
    year, seal = year_ending(int(about[1])), read.stamp.seal
    what = f"Treasurer's workbook of the {str(year)[0].lower()}{str(year)[1:]}, made at entry {seal.number}"
    if faults := _origin(seal):
        return Verdict(what, faults)
    notes = [] if read.is_signed else [UNSIGNED]
    entries = JournalEntry.objects.filter(year=year, number__gt=seal.number).count()
    try:
        if entries:
            return _grown(file, year, Verdict(what, [], notes), seal.number, entries)
        return _whole(content, file, year, Verdict(what, [], notes), read.stamp)
    except (*appearance.BROKEN, SyntaxError):
        raise Refused("The file is a workbook, but one of its sheets cannot be read.") from None


def _whole(content: bytes, file: Any, year: FinancialYear, begun: Verdict, stamp: Stamp) -> Verdict:
    """Every cell of the file and how it looks against the workbook made again."""
    figures: dict[str, list[list[Any]]] = {}
    again = io.BytesIO()
    write_stamped(year, again, stamp, copies=lambda name: figures.setdefault(name, []).append)
    comparison = Comparison(figures)
    found = comparison.differences(content, file, again.getvalue(), _open(again.getvalue()))
    faults = _limited(found)
    if faults and not year.is_closed:
        faults.append("The year is still open: what was recorded since without an entry may be why.")
    return Verdict(begun.what, faults, [*begun.notes, *comparison.renamed()])


def _grown(file: Any, year: FinancialYear, begun: Verdict, number: int, entries: int) -> Verdict:
    """A file of an open year that went on: its journal and trial balance against the book up to that entry."""
    comparison = Comparison({})
    faults = _limited(comparison.journal(file, year, number))
    told = (
        f"The book has {entries} entries of this year that came after the file, so its other sheets could not be"
        " compared; make the workbook again for today’s figures."
    )
    notes = [*begun.notes, told, *comparison.renamed()]
    return Verdict(begun.what, faults, notes, f"every line of its journal up to entry {number}, and its trial balance,")


def _origin(seal: Seal) -> list[str]:
    """Whether the book has the entry that the file says was its last, with that very digest."""
    entry = JournalEntry.objects.filter(number=seal.number).first()
    if seal.number and (entry is None or entry.digest != seal.digest):
        return [
            f"The file was not made from this book: its entry {seal.number} has another digest here, or is missing."
        ]
    return []


class Comparison:
    """Finds what differs, cell by cell, and tells a name that changed since from a figure that was changed.

    A name counts as changed since if the file has one and the same other name for it wherever it stands, and that other
    name is nobody else's in the book.
    """

    def __init__(self, figures: dict[str, list[list[Any]]]):
        self.figures = figures
        self.names: dict[str, dict[str, str]] = defaultdict(dict)
        self.kept: set[str] = set()
        self.theirs, self.ours = appearance.Looks(), appearance.Looks()

    def renamed(self) -> list[str]:
        """A sentence for each name that is another in the book now."""
        return [
            f"“{other}” in the file is called “{name}” in the book now."
            for name, others in self.names.items()
            for other in others
            if self._is_a_rename(name)
        ]

    def _is_a_rename(self, name: str) -> bool:
        others = self.names[name]
        taken = {other for each, found in self.names.items() if each != name for other in found}
        return (
            len(others) == 1 and name not in self.kept and not (others.keys() & (self.kept | taken | self.names.keys()))
        )

    def _names_that_differ(self) -> Iterator[str]:
        for name, others in self.names.items():
            if not self._is_a_rename(name):
                for other, cell in others.items():
                    yield f"{cell}: the file has “{other}”, the book “{name}”."

    def differences(self, content: bytes, file: Any, ours: bytes, book: Any) -> Iterator[str]:
        """A sentence for each cell that is not the book's, by formula, figure, shown figure or look."""
        seen_book = _open(content, data_only=True)
        for name in appearance.parts_that_do_not_belong(content):
            yield f"The file holds something that is no part of a workbook of ours: {name}."
        yield from _sheets(file, book)
        for name in book.sheetnames:
            if name in file.sheetnames:
                rows = zip_longest(
                    file[name].iter_rows(), book[name].iter_rows(), seen_book[name].iter_rows(values_only=True),
                    self.figures.get(name, []), fillvalue=(),
                )  # fmt: skip
                for number, (theirs, own, seen, known) in enumerate(rows, 1):
                    yield from self._row(name, number, theirs, own, seen, known)
        yield from self._names_that_differ()
        with zipfile.ZipFile(io.BytesIO(content)) as one, zipfile.ZipFile(io.BytesIO(ours)) as other:
            for name in book.sheetnames:
                if name in file.sheetnames:
                    theirs = appearance.sheet_of(one, file[name]._worksheet_path)
                    yield from appearance.differences(
                        name, theirs, appearance.sheet_of(other, book[name]._worksheet_path)
                    )

    def _row(self, name: str, number: int, theirs: Any, ours: Any, seen: Any, known: Any) -> Iterator[str]:
        for place, (one, other, drawn, figure) in enumerate(zip_longest(theirs, ours, seen, known), 1):
            cell = f"{name}!{get_column_letter(place)}{number}"
            value, own = (each.value if each is not None else None for each in (one, other))
            if not self._same(cell, value, own, figure):
                yield f"{cell}: the file has {_words(value)}, the book {_words(own)}."
            elif _is_formula(value) and drawn is not None and figure is not None and _alike(drawn) != _alike(figure):
                yield f"{cell}: the file shows {_words(drawn)}, the book comes to {_words(figure)}."
            elif value is not None and one is not None and self.theirs.of(one) != self.ours.of(other):
                yield f"{cell}: it looks otherwise than in the book’s workbook, by its format, colour or size."

    def _same(self, cell: str, theirs: Any, ours: Any, known: Any) -> bool:
        """Whether two values are the same, names that may have changed since being noted for later."""
        same = _alike(theirs) == _alike(ours)
        if isinstance(known, Named) and ours is not None:
            pairs = _names_in(known, theirs) if isinstance(theirs, str) else None
            if pairs is None:
                return same
            for name, other in pairs:
                if name == other:
                    self.kept.add(name)
                else:
                    self.names[name].setdefault(other, cell)
            return True
        return same

    def journal(self, file: Any, year: FinancialYear, number: int) -> Iterator[str]:
        """A sentence for each cell of the file's journal and trial balance that is not the book's up to an entry."""
        for name in ("Journal", "Trial balance"):
            if name not in file.sheetnames:
                yield f"Sheets are missing: {name}."
                return
        rows = file["Journal"].iter_rows(min_row=FIRST_ROW, values_only=True)
        expected = journal_rows(year, until=number)
        for place, (theirs, ours) in enumerate(zip_longest(rows, expected, fillvalue=()), FIRST_ROW):
            for column, (one, other) in enumerate(zip_longest(theirs, ours), 1):
                kind = JOURNAL_KINDS[column - 1] if column <= len(JOURNAL_KINDS) else ""
                cell = f"Journal!{get_column_letter(column)}{place}"
                known = Named(other) if kind == "name" and other else other
                if not self._same(cell, one, other, known):
                    yield f"{cell}: the file has {_words(one)}, the book {_words(other)}."
        yield from self._names_that_differ()
        balances = balances_at(year, number)
        for place, row in enumerate(file["Trial balance"].iter_rows(min_row=FIRST_ROW, values_only=True), FIRST_ROW):
            code, stated = str(row[0] or ""), row[9] if len(row) > 9 else None
            if code and _alike(stated or 0) != _alike(balances.pop(code, ZERO)):
                yield f"Trial balance!J{place}: the file has {_words(stated)}, which is not what entry {number} left."
        for code, figure in balances.items():
            if figure:
                yield f"Trial balance: the account {code} with {shown(as_amount(figure))} is missing."


def _names_in(text: Named, theirs: str) -> list[tuple[str, str]] | None:
    """Each name in the book's text with what the file has in its place; None where the words around it differ."""
    pattern = re.escape(_alike(text))
    for name in text.names:
        pattern = pattern.replace(re.escape(_alike(name)), "(.+?)", 1)
    found = re.fullmatch(pattern, _alike(theirs) or "")
    return list(zip(map(_alike, text.names), found.groups(), strict=False)) if found else None


def _sheets(file: Any, book: Any) -> Iterator[str]:
    missing = [name for name in book.sheetnames if name not in file.sheetnames]
    extra = [name for name in file.sheetnames if name not in book.sheetnames]
    unseen = [sheet.title for sheet in file.worksheets if sheet.sheet_state != "visible"]
    for names, words in ((missing, "are missing"), (extra, "were added"), (unseen, "are hidden")):
        if names:
            yield f"Sheets {words}: {', '.join(names)}."


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
    read = read_stamp(keywords)
    asked = asked_of(read.about) if read else None
    if read is None or asked is None:
        raise Refused(UNKNOWN)
    if faults := _origin(read.stamp.seal):
        return Verdict(asked.words, faults)
    try:
        again = asked.stamped(read.stamp, keywords)
    except (Refused, ValueError, OverflowError):
        raise Refused(UNKNOWN) from None
    notes = [] if read.is_signed else [UNSIGNED]
    if again == content:
        return Verdict(asked.words, [], notes)
    faults = _limited(_lines_that_differ(lines, _lines(PdfReader(io.BytesIO(again)))))
    faults = faults or ["Every word is the book’s, but the file was changed otherwise: something may lie over it."]
    since = JournalEntry.objects.filter(number__gt=read.stamp.seal.number, date__lte=asked.last).count()
    if since:
        faults.append(f"The book has {since} entries of these days that came after the file; they may be why.")
    return Verdict(asked.words, faults, notes)


def _lines(reader: PdfReader) -> list[str]:
    return [line.strip() for page in reader.pages for line in page.extract_text().splitlines() if line.strip()]


def _lines_that_differ(theirs: list[str], ours: list[str]) -> Iterator[str]:
    for place, (one, other) in enumerate(zip_longest(theirs, ours, fillvalue=""), 1):
        if one != other:
            yield f"Line {place}: the file has {_words(one)}, the book {_words(other)}."
