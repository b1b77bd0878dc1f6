"""The seal of a year, the digest of its last entry, and the stamp that a file carries of its making."""

import re
from dataclasses import dataclass
from datetime import date

from django.core.signing import BadSignature, Signer

from clubdesk.ledger.models import FinancialYear, JournalEntry

SHORT = 12
STAMP = re.compile(r"(?P<about>.+) (?P<on>\d{4}-\d\d-\d\d) (?P<number>\d+) (?P<digest>\S+) (?P<state>closed|open) \S+")


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


def seal_at(number: int, is_final: bool) -> Seal:
    """The seal as it was when that entry was the last."""
    entry = JournalEntry.objects.filter(number=number).first()
    return Seal(number, entry.digest if entry else "", is_final)


@dataclass(frozen=True)
class Stamp:
    """What a file says of its making: on which day, by whom, and where the book stood."""

    made_on: date
    seal: Seal
    made_by: str = ""

    @property
    def in_words(self) -> str:
        """For the foot of a printed page."""
        return f"{self.seal.in_words} · made on {self.made_on:%-d %b %Y}"

    def keywords(self, about: str) -> str:
        """The stamp of a file that is `about` something, signed with the site's secret key."""
        state = "closed" if self.seal.is_final else "open"
        text = f"{about} {self.made_on} {self.seal.number} {self.seal.digest or '-'} {state}"
        return f"{text} {_signer().signature(text + self.made_by)}"


@dataclass(frozen=True)
class ReadStamp:
    """A stamp as a file has it: what it is about, and whether this site signed it."""

    about: str
    stamp: Stamp
    is_signed: bool


def read_stamp(keywords: str, made_by: str = "") -> ReadStamp | None:
    """The stamp in a file's keywords; None where there is none."""
    found = STAMP.fullmatch(keywords.strip())
    if found is None:
        return None
    try:
        made_on, number = date.fromisoformat(found["on"]), int(found["number"])
    except ValueError:
        return None
    digest = "" if found["digest"] == "-" else found["digest"]
    stamp = Stamp(made_on, Seal(number, digest, found["state"] == "closed"), made_by)
    text, signature = keywords.strip().rsplit(" ", 1)
    try:
        _signer().unsign(f"{text}{made_by}:{signature}")
    except BadSignature:
        return ReadStamp(found["about"], stamp, False)
    return ReadStamp(found["about"], stamp, True)


def _signer() -> Signer:
    return Signer(salt="fletchbook export")
