"""What somebody looks for, read in each way that it may be meant, and the names that are like it: pure, no database."""

import re
import unicodedata
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Generic, TypeVar

from rapidfuzz import fuzz

MOST_LETTERS = 100
MOST_WORDS = 6
MOST_CENTS = 999_999_999_999
FEWEST_DIGITS = 4
"""From so many on they may be of a phone."""
ALIKE = 76
"""From this likeness (rapidfuzz, of 100) two words may be one, spelt differently; by trial: Steven and Stephen are."""

AMOUNT = re.compile(r"[-−]?([0-9]{1,3}(?:,[0-9]{3})+|[0-9]{1,10})(?:\.([0-9]{1,2}))?")
NUMBER = re.compile(r"(?:no\.?|number|#)? ?([0-9]{1,9})", re.IGNORECASE)
DIGITS = re.compile(r"[0-9 ()+/-]+")
APOSTROPHES = str.maketrans("", "", "'’`")

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True)
class Sought:
    """What was typed, without what no row holds. `called` is the word that says of what a number is: “receipt 412”."""

    text: str
    called: str = ""

    @cached_property
    def words(self) -> tuple[str, ...]:
        """Its words as names are compared; none where it has no letter."""
        return tuple(plain_words(self.text)[:MOST_WORDS]) if any(map(str.isalpha, self.text)) else ()

    @cached_property
    def number(self) -> int | None:
        """The number that stands on a receipt, an entry or a booking: 412, #412, no. 412."""
        found = NUMBER.fullmatch(self.text)
        return int(found[1]) if found else None

    @property
    def numbers(self) -> tuple[int, ...]:
        """The number alone, as rows are filtered by it; empty where there is none."""
        return () if self.number is None else (self.number,)

    @property
    def as_called(self) -> tuple[int, ...]:
        """The number where a word says of what it is; for rows that are seldom known by theirs."""
        return self.numbers if self.called else ()

    @cached_property
    def cents(self) -> int | None:
        """The amount, without its sign: 126, 126.00, $126.00; None for a number that is called something."""
        without_sign = "".join(sign for sign in self.text if unicodedata.category(sign) != "Sc")
        found = AMOUNT.fullmatch(without_sign.strip())
        if not found or self.as_called:
            return None
        cents = 100 * int(found[1].replace(",", "")) + int((found[2] or "0").ljust(2, "0"))
        return cents if cents <= MOST_CENTS else None

    @cached_property
    def digits(self) -> str:
        """The digits of a phone, an account or a reference; blank where it is anything else."""
        found = re.sub(r"[^0-9]", "", self.text) if DIGITS.fullmatch(self.text) else ""
        return found if len(found) >= FEWEST_DIGITS else ""

    @cached_property
    def code(self) -> str:
        """A code as it is kept: capitals without spaces; blank where no digit is in it."""
        found = "".join(self.text.split()).upper()
        return found if any(map(str.isdigit, found)) else ""

    def after(self, called: Iterable[str]) -> "Sought | None":
        """What follows the longest of these words, where that holds a digit; None where it begins with none of them."""
        for word in sorted(called, key=len, reverse=True):
            begins, rest = self.text[: len(word)].casefold(), self.text[len(word) :]
            if begins == word and re.match(r"[ .:#-]", rest) and any(map(str.isdigit, rest)):
                return Sought(rest.strip(" .:-"), word)
        return None


def read(typed: str) -> Sought:
    """What was typed, in single spaces, at most 100 letters of it."""
    printable = "".join(sign if sign.isprintable() else " " for sign in unicodedata.normalize("NFKC", typed[:1000]))
    return Sought(" ".join(printable.split())[:MOST_LETTERS].strip())


def plain_words(text: str) -> list[str]:
    """The words and numbers of a text, small, without accents and apostrophes."""
    text = text.casefold()
    if text.isascii() and text.isalnum():
        return [text]
    text = text.translate(APOSTROPHES)
    if not text.isascii():
        text = "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))
    return re.findall(r"[^\W_]+", text)


def is_in_phone(digits: str, phone: str) -> bool:
    """Whether digits typed are those of a phone, or its last four or more; with or without the country before them."""
    typed, kept = digits.lstrip("0"), re.sub(r"[^0-9]", "", phone).lstrip("0")
    if len(typed) < 6:
        return kept.endswith(digits)
    return typed in kept or (len(kept) >= 6 and typed.endswith(kept))


@dataclass(frozen=True)
class Namesake(Generic[Key]):
    """Whose name it may be; `is_alike` where it is not spelt just so."""

    key: Key
    is_alike: bool


def namesakes(words: Sequence[str], names: Iterable[tuple[Key, str]], limit: int) -> list[Namesake[Key]]:
    """Whose names hold all the words, the fullest first; then, as far as there is room, those with words like them.

    A name may stand several times with one key; its best counts. What is as good keeps the order of `names`.
    """
    rows = [(key, name.casefold()) for key, name in names] if words else []
    known = {part: plain_words(part) for part in set(" ".join(name for _, name in rows).split())}
    scores = [_scores(word, known) for asked in words for word in _as_kept(asked, known)]
    for like in scores:
        some = frozenset(like)
        rows = [(key, name) for key, name in rows if not some.isdisjoint(name.split())]
    best: dict[Key, float] = {}
    for key, name in rows:
        best[key] = max(_score(scores, name.split()), best.get(key, 0))
    ranked = sorted(best.items(), key=lambda item: -item[1])
    return [Namesake(key, is_alike=score < LITERAL) for key, score in ranked[:limit]]


HOLDS, LITERAL = 3, 1000
"""What a word scores that holds the one typed, and what a name scores besides that holds each just as it was typed."""

Known = Mapping[str, Sequence[str]]
"""The words of each part of a name: “smith-jones” has two."""


def _as_kept(word: str, known: Known) -> tuple[str, ...]:
    """The word, or the two that it is kept as: “vandam” is “van” and “dam” where no name holds it as one."""
    if any(word in part for part in known):
        return (word,)
    cuts = ((word[:at], word[at:]) for at in (2, 3))
    return next((pair for pair in cuts if known.keys() >= set(pair)), (word,))


def _scores(word: str, known: Known) -> dict[str, float]:
    """What each part of a name scores that holds the word or, from three letters on, is like it."""
    found: dict[str, float] = {}
    for part, own in known.items():
        holds = [HOLDS + each.startswith(word) + (each == word) for each in own if word in each]
        likeness = max((fuzz.ratio(word, each, score_cutoff=ALIKE) for each in own), default=0) if len(word) > 2 else 0
        if score := max(holds, default=likeness / 100):
            found[part] = score
    return found


def _score(scores: Sequence[Mapping[str, float]], own: Sequence[str]) -> float:
    """How well a name fits, by the best of its parts for each word."""
    best = [max(like.get(part, 0) for part in own) for like in scores]
    return sum(best) + (LITERAL if min(best) >= HOLDS else 0)
