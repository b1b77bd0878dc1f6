"""What stands in a cell: formulas that know what they come to, names that may change, and terms of formulas."""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from openpyxl.utils import column_index_from_string, get_column_letter, quote_sheetname

CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
LONGEST = 32767
NIL = Decimal("0.00")


class Formula(str):
    """Text that is meant as a formula for an amount; any other text is written as text.

    `value` is what it comes to by the book, so that a copy without formulas and a check of the file know it.
    """

    value: Any

    def __new__(cls, text: str, value: Any) -> "Formula":
        formula = super().__new__(cls, text)
        formula.value = value
        return formula


class Named(str):
    """Text with names in it that may change later: of an account, a fund, a family. By default it is one name.

    Under another name it is the same account; a check of the file takes that for a rename and not for a difference.
    """

    names: tuple[str, ...]

    def __new__(cls, text: str, *names: str) -> "Named":
        named = super().__new__(cls, text)
        named.names = names or (text,)
        return named


class Count(Formula):
    """A formula for a number of things, which is no amount."""


class Verdict(Formula):
    """A formula whose result is TRUE, or says what is wrong: by default that nothing is."""

    def __new__(cls, text: str, value: Decimal | bool = True) -> "Verdict":
        return super().__new__(cls, text, value)  # type: ignore[return-value]


class Jump(Formula):
    """A link to a place in the workbook."""

    def __new__(cls, place: str, words: str) -> "Jump":
        target = place.replace("$", "")
        return super().__new__(cls, f'=HYPERLINK("#{target}","{words}")', words)  # type: ignore[return-value]


@dataclass(frozen=True)
class Term:
    """A part of a formula: how it is written there, and what it comes to by the book."""

    text: str
    value: Decimal
    is_cell: bool = False

    @classmethod
    def of(cls, figure: Decimal) -> "Term":
        return cls(number(figure), figure)

    @property
    def formula(self) -> Formula:
        return Formula(f"={self.text}", self.value)

    @property
    def _as_one(self) -> str:
        return self.text if self.is_cell else f"({self.text})"

    def __add__(self, other: "Term") -> "Term":
        return Term(f"{self.text}+{other.text}", self.value + other.value)

    def __sub__(self, other: "Term") -> "Term":
        return Term(f"{self.text}-{other._as_one}", self.value - other.value)

    def __neg__(self) -> "Term":
        return Term(f"-{self._as_one}", -self.value + NIL)


@dataclass(frozen=True)
class Rows:
    """Some rows of a sheet, as formulas in other sheets refer to them; where there is none, the row that would be."""

    sheet: str
    first: int
    last: int

    def column(self, letter: str) -> str:
        """The fixed range of a column, such as 'Trial balance'!$D$5:$D$40."""
        return f"{quote_sheetname(self.sheet)}!${letter}${self.first}:${letter}${max(self.first, self.last)}"


def letters(count: int, first: str = "C") -> list[str]:
    """The letters of so many columns from `first` on."""
    start = column_index_from_string(first)
    return [get_column_letter(start + place) for place in range(count)]


def number(figure: Decimal) -> str:
    """A figure inside a formula, as every program writes it: no noughts at the end."""
    return f"{figure.normalize():f}"


def plain_value(value: Any) -> Any:
    """What a cell holds, a formula by what it comes to."""
    return value.value if isinstance(value, Formula) else value


def safe(text: str) -> str:
    """`text` without the control characters that a workbook cannot hold, cut to what a cell can."""
    return CONTROL.sub(" ", text)[:LONGEST]
