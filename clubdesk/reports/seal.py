"""The seal of a year: the digest of the last entry that a closed year has, and its short form for printed pages."""

from dataclasses import dataclass
from datetime import date

from clubdesk.ledger.models import FinancialYear, JournalEntry

SHORT = 12


@dataclass(frozen=True)
class Seal:
    """What a printed page says of the book it was made from: an entry's number and digest, and whether it is final."""

    number: int
    digest: str
    is_final: bool

    @property
    def short(self) -> str:
        """The first twelve digits of the digest in fours, such as "9F2C-07AB-51D0"."""
        digits = self.digest[:SHORT].upper()
        return "-".join(digits[place : place + 4] for place in range(0, len(digits), 4))

    @property
    def in_words(self) -> str:
        if not self.number:
            return "No entry yet"
        return f"Sealed {self.short}, entry {self.number}" if self.is_final else f"Not closed; entry {self.number}"


def seal_of_span(first: date, last: date) -> Seal:
    """The seal of the year that a span of days lies in."""
    return seal_of(FinancialYear.objects.filter(first_day__lte=first, last_day__gte=last).first())


def seal_of(year: FinancialYear | None) -> Seal:
    """The seal of a closed year; of an open one where it stands now, of a span in no year where the book does."""
    entries = JournalEntry.objects.filter(year=year) if year else JournalEntry.objects.all()
    last = entries.order_by("-number").first()
    is_final = bool(year and year.is_closed)
    return Seal(last.number, last.digest, is_final) if last else Seal(0, "", is_final)
