"""Whether a workbook or a PDF is the book's own: as it was made, by its signed stamp, and against the book as it is.

A workbook carries a digest of its cells, a PDF is signed whole. What differs is named by comparing with what the book
makes now, cell by cell or line by line.
"""

import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain, zip_longest
from typing import Any

from pypdf import PdfReader

from clubdesk.errors import Refused
from clubdesk.ledger.models import FinancialYear, JournalEntry
from clubdesk.ledger.selectors import year_ending
from clubdesk.moment import one_moment
from clubdesk.reports import appearance
from clubdesk.reports.comparison import Comparison, in_words, sheets_that_differ
from clubdesk.reports.papers import asked_of
from clubdesk.reports.reading import MOST_FAULTS, Made, Opened, read_beside
from clubdesk.reports.seal import ReadStamp, Seal, Stamp, is_signed_pdf, read_stamp, seal_of, year_of_span
from clubdesk.reports.workbook.book import MARK, sheets_that_go_on, write_stamped

LARGEST = 100 * 1024 * 1024
UNSIGNED = "Nothing proves how it was made: its stamp was not signed with the secret key of this site."
NOT_AS_MADE = "It is not as it was made: its cells do not come to the digest in its stamp."
CHANGED = "It is not as it was made: this PDF is another than the one that was signed, or something lies over it."
UNKNOWN = "This is no workbook or statement that this program made, or it was stripped of what says so."


@dataclass(frozen=True)
class Verdict:
    """What was found: what the file is, a sentence for each figure that differs, and what else is to be known."""

    what: str
    faults: list[str]
    notes: list[str] = field(default_factory=list)
    compared: str = "every figure is the book’s"

    @property
    def is_genuine(self) -> bool:
        return not self.faults

    @property
    def said(self) -> str:
        """A sentence for a file that is genuine."""
        return f"Genuine. {self.what}: {self.compared}."


@one_moment()
def verify(content: bytes) -> Verdict:
    """Compare a file with the book. Raises Refused where it is nothing that can be compared."""
    if len(content) > LARGEST:
        raise Refused("The file is larger than 100 MB; that is no file of ours.")
    if content.startswith(b"%PDF-"):
        return _pdf(content)
    return _workbook(content)


def _limited(faults: Iterable[str]) -> list[str]:
    found: list[str] = []
    for fault in faults:
        if len(found) == MOST_FAULTS:
            return [*found, "… and more."]
        found.append(fault)
    return found


def _workbook(content: bytes) -> Verdict:
    file = Opened(content)
    read = read_stamp(file.book.properties.keywords or "", file.book.properties.subject or "")
    about = re.fullmatch(rf"{MARK} (\d{{4}})", read.about) if read else None
    if read is None or about is None:
        raise Refused(UNKNOWN)
    year, seal = year_ending(int(about[1])), read.stamp.seal
    what = f"Treasurer's workbook of the {str(year)[0].lower()}{str(year)[1:]}, made at entry {seal.number}"
    try:
        return _compared(file, year, read, what)
    except (*appearance.BROKEN, SyntaxError):
        raise Refused("The file is a workbook, but one of its sheets cannot be read.") from None


def _compared(file: Opened, year: FinancialYear, read: ReadStamp, what: str) -> Verdict:
    """The file by the digest in its stamp, and against the workbook that the book makes now.

    Where the file is as it was made, a cell of an open year, or one that tells of documents and not of entries, may be
    another now: that is a note. In any other file each such cell is a fault.
    """
    seal = read.stamp.seal
    if faults := _origin(seal, year):
        return Verdict(what, faults)
    made, comparison, notes, of_documents = _made_again(year, read.stamp), Comparison(), [], sheets_that_go_on()
    entries = JournalEntry.objects.filter(year=year, number__gt=seal.number).count()
    found = read_beside(file, made, comparison, cell_by_cell=not entries)
    as_made = read.is_signed() and found.is_as_made(read.contents)
    faults = [] if as_made else [NOT_AS_MADE if read.is_signed() else UNSIGNED]
    faults += sheets_that_differ(file.book, made.opened.book)
    faults += _limited(chain(appearance.what_does_not_belong(file.archive), found.looks))
    if entries:
        faults += [] if as_made else _limited(comparison.journal(file.book, year, seal.number))
        notes.append(f"The book has {entries} entries of this year that came after the file; its figures are of then.")
    else:
        for difference in found.cells:
            moves = as_made and (not year.is_closed or difference.sheet in of_documents)
            (notes if moves else faults).append(difference.words)
        (notes if as_made else faults).extend(comparison.names_that_differ())
    compared = "every cell is as it was made" if entries else "every figure is the book’s"
    return Verdict(what, faults, [*notes, *comparison.renamed()], compared)


def _made_again(year: FinancialYear, stamp: Stamp) -> Made:
    """The workbook that the book makes now, with the stamp of an earlier making."""
    file, figures, rows = io.BytesIO(), dict[str, list[list[Any]]](), dict[str, list[Any]]()
    digests = write_stamped(
        year, file, stamp, copies=lambda name: figures.setdefault(name, []).append,
        kept=lambda name: rows.setdefault(name, []).append,
    )  # fmt: skip
    return Made(Opened(file.getvalue()), {each.name: each for each in digests}, figures, rows)


def _origin(seal: Seal, year: FinancialYear | None) -> list[str]:
    """Whether the book has the entry that the file says was its last, and is sealed where the file says so."""
    entry = JournalEntry.objects.filter(number=seal.number).first()
    if seal.number and (entry is None or entry.digest != seal.digest):
        return [
            f"The file was not made from this book: its entry {seal.number} has another digest here, or is missing."
        ]
    if seal.is_final and seal != seal_of(year):
        return ["The file says that it is of a closed year, sealed with its last entry; in the book that is not so."]
    return []


def _pdf(content: bytes) -> Verdict:
    try:
        reader = PdfReader(io.BytesIO(content), strict=False)
        keywords, lines = str(reader.metadata.get("/Keywords", "") if reader.metadata else ""), _lines(reader)
    except Exception:  # whatever a reader does with bytes from outside, the answer is the same
        raise Refused("The file starts like a PDF but is cut short.") from None
    read = read_stamp(keywords)
    asked = asked_of(read.about) if read else None
    if read is None or asked is None:
        raise Refused(UNKNOWN)
    seal, year = read.stamp.seal, year_of_span(asked.first, asked.last)
    if faults := _origin(seal, year):
        return Verdict(asked.words, faults)
    try:
        again = asked.stamped(read.stamp)
    except (Refused, ValueError, OverflowError):
        raise Refused(UNKNOWN) from None
    since = JournalEntry.objects.filter(number__gt=seal.number, date__lte=asked.last).count()
    told = [f"The book has {since} entries of these days that came after the file; they may be why."] if since else []
    as_made = is_signed_pdf(content, read.signature)
    moves = as_made and not (year and year.is_closed)
    faults, notes = [] if as_made else [CHANGED], list[str]()
    for one, other in _lines_that_differ(lines, _lines(PdfReader(io.BytesIO(again)))):
        sentence = f"The file has {in_words(one)}, the book {in_words(other)}."
        same_figures = as_made and _figures_in(one) == _figures_in(other)
        (notes if moves or same_figures else faults).append(sentence)
    differs = len(faults) > (not as_made) or notes
    return Verdict(asked.words, [*faults[:MOST_FAULTS], *(told if faults and differs else [])], notes[:MOST_FAULTS])


def _lines(reader: PdfReader) -> list[str]:
    return [line.strip() for page in reader.pages for line in page.extract_text().splitlines() if line.strip()]


def _lines_that_differ(theirs: list[str], ours: list[str]) -> Iterator[tuple[str, str]]:
    """Each line of the file that the book has otherwise, with what it has."""
    return ((one, other) for one, other in zip_longest(theirs, ours, fillvalue="") if one != other)


def _figures_in(line: str) -> list[str]:
    return re.findall(r"[−-]?[^\s\d]*\d[\d,]*\.\d\d", line)
