"""The seal of a year, the digest of its last entry, and the stamp that a file carries of its making."""

import hashlib
import re
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.core.signing import BadSignature, Signer

from clubdesk.clock import day_text
from clubdesk.ledger.models import FinancialYear, JournalEntry

SHORT = 12
NO_DIGEST = "-"
PLACE = "0" * 43
"""As long as a signature: 256 bits in the letters of base 64."""
STAMP = re.compile(
    r"(?P<about>.+) (?P<on>\d{4}-\d\d-\d\d) (?P<number>\d{1,9}) (?P<digest>\S+) (?P<state>closed|open)"
    r" (?P<contents>\S+) \S+"
)


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


def year_of_span(first: date, last: date) -> FinancialYear | None:
    """The year that a span of days lies in."""
    return FinancialYear.objects.filter(first_day__lte=first, last_day__gte=last).first()


def seal_of_span(first: date, last: date) -> Seal:
    """The seal of that year."""
    return seal_of(year_of_span(first, last))


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
        return f"{self.seal.in_words} · made on {day_text(self.made_on)}"

    def keywords(self, about: str, contents: str) -> str:
        """The stamp of a file that is `about` something and has cells of that digest, signed by the key for that."""
        text = self._text(about, contents)
        return f"{text} {_signer().signature(text + self.made_by)}"

    def unsigned(self, about: str) -> str:
        """The stamp of a PDF before it is signed: the signature's place is held by noughts."""
        return f"{self._text(about, NO_DIGEST)} {PLACE}"

    def _text(self, about: str, contents: str) -> str:
        state = "closed" if self.seal.is_final else "open"
        return f"{about} {self.made_on} {self.seal.number} {self.seal.digest or NO_DIGEST} {state} {contents}"


@dataclass(frozen=True)
class ReadStamp:
    """A stamp as a file has it: what it is about, the digest of its cells, and its signature."""

    about: str
    stamp: Stamp
    contents: str
    text: str
    signature: str

    def is_signed(self) -> bool:
        """Whether this site signed the stamp, and with it the digest of the cells."""
        return _is_signed(self.text + self.stamp.made_by, self.signature)


def read_stamp(keywords: str, made_by: str = "") -> ReadStamp | None:
    """The stamp in a file's keywords; None where there is none."""
    found = STAMP.fullmatch(keywords.strip())
    if found is None:
        return None
    try:
        made_on, number = date.fromisoformat(found["on"]), int(found["number"])
    except ValueError:
        return None
    digest = "" if found["digest"] == NO_DIGEST else found["digest"]
    stamp = Stamp(made_on, Seal(number, digest, found["state"] == "closed"), made_by)
    text, signature = keywords.strip().rsplit(" ", 1)
    return ReadStamp(found["about"], stamp, found["contents"], text, signature)


def signed_pdf(content: bytes) -> bytes:
    """A PDF whose stamp is unsigned yet, signed whole: not a byte of it can change. Raises ValueError for others."""
    if content.count(PLACE.encode()) != 1:
        raise ValueError("A PDF to be signed has one place for its signature.")
    return content.replace(PLACE.encode(), _signer().signature(_digest(content)).encode())


def is_signed_pdf(content: bytes, signature: str) -> bool:
    """Whether this site signed the whole PDF with that signature."""
    if len(signature) != len(PLACE) or content.count(signature.encode()) != 1:
        return False
    return _is_signed(_digest(content.replace(signature.encode(), PLACE.encode())), signature)


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _is_signed(text: str, signature: str) -> bool:
    try:
        _signer().unsign(f"{text}:{signature}")
    except BadSignature:
        return False
    return True


def _signer() -> Signer:
    """By the key of exported files; those of before it had a name of its own were signed by the site's."""
    earlier = [str(settings.SECRET_KEY), *settings.SECRET_KEY_FALLBACKS]
    return Signer(key=str(settings.EXPORT_KEY), salt="fletchbook export", fallback_keys=earlier)
