"""What a generated year is made of: facts of the book, lines of the bank, and the truth about each line."""

from dataclasses import dataclass, field
from datetime import date

Name = tuple[str, str]


@dataclass(frozen=True)
class Fact:
    """Something that the book knows from a day on: cents, money in positive. `kind` says how the book knows it."""

    key: str
    kind: str
    day: date
    cents: int
    what: str
    names: tuple[Name, ...] = ()
    references: tuple[str, ...] = ()
    payer: str = ""
    batch: str = ""
    parts: "tuple[Fact, ...]" = ()


@dataclass(frozen=True)
class Truth:
    """What a line is: the keys that explain it (none where the book has no answer), and what kind of line it is.

    `of_family` names the payer where any fee of that family is right. `with_lines` are lines that belong to it.
    """

    kind: str
    keys: frozenset[str] = frozenset()
    of_family: str = ""
    with_lines: frozenset[int] = frozenset()

    @property
    def has_answer(self) -> bool:
        return bool(self.keys or self.of_family or self.with_lines)


@dataclass(frozen=True)
class Said:
    """A line as the bank says it; one that is announced stands without a balance until `day`."""

    number: int
    day: date
    cents: int
    words: str
    announced: date | None = None


@dataclass
class Year:
    """`booked` says of a line's number what account a journal booked it to, once it was known."""

    lines: list[Said] = field(default_factory=list)
    facts: list[Fact] = field(default_factory=list)
    truth: dict[int, Truth] = field(default_factory=dict)
    booked: dict[int, str] = field(default_factory=dict)
    everybody: dict[str, tuple[Name, ...]] = field(default_factory=dict)
