"""What a cell of a workbook holds, the same however a program saved it; and the digest of all of them."""

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from clubdesk.money import CENT

LITERAL = re.compile(r'("(?:[^"]|"")*")')
NIL = Decimal("0.00")


def is_formula(value: Any) -> bool:
    return isinstance(value, str) and value.startswith("=")


def canonical(value: Any) -> Any:
    """A value as it is compared: amounts to the cent, days without time, formulas without a program's own spelling."""
    if value is None or value == "":
        return None
    if isinstance(value, str):
        return _formula(value) if value.startswith("=") else " ".join(value.split())
    if isinstance(value, Decimal):
        return value.quantize(CENT) + NIL
    if isinstance(value, bool):
        return value
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, int | float):
        try:
            return Decimal(str(value)).quantize(CENT) + NIL
        except InvalidOperation:
            return value
    return value


def _formula(text: str) -> str:
    """Spaces, quotes and signs of fixed places stripped, letters large; what stands as a text in it stays as it is."""
    parts = LITERAL.split(text)
    bare = (re.sub(r"['$\s]", "", part).upper().replace("TRUE()", "TRUE") for part in parts[::2])
    spelt = [next(bare) if place % 2 == 0 else part for place, part in enumerate(parts)]
    return "".join(spelt)


class SheetDigest:
    """Digests of one sheet, row by row: of what its cells hold, and of what its formulas come to."""

    def __init__(self, name: str):
        self.name = name
        self._cells, self._figures = hashlib.sha256(name.encode()), hashlib.sha256(name.encode())
        self.has_figures = False

    def add(self, row: int, values: Iterable[Any]) -> None:
        """A row as its cells hold it; cells that hold nothing do not count."""
        held = [f"{place}={known}" for place, value in enumerate(values) if (known := canonical(value)) is not None]
        if held:
            self._cells.update(f"{row}|{'|'.join(held)}\n".encode())

    def add_figure(self, row: int, place: int, figure: Any) -> None:
        """What the formula in a cell comes to."""
        if (known := canonical(figure)) is not None:
            self.has_figures = True
            self._figures.update(f"{row}|{place}={known}\n".encode())

    @property
    def cells(self) -> str:
        return self._cells.hexdigest()

    @property
    def figures(self) -> str:
        return self._figures.hexdigest()


@dataclass(frozen=True)
class Contents:
    """The digests of a whole workbook, its sheets in their order."""

    cells: str
    figures: str

    @classmethod
    def of(cls, sheets: Iterable[SheetDigest]) -> "Contents":
        known = list(sheets)
        return cls(_joined(sheet.cells for sheet in known), _joined(sheet.figures for sheet in known))

    def __str__(self) -> str:
        return f"{self.cells}.{self.figures}"


def _joined(digests: Iterable[str]) -> str:
    return hashlib.sha256("".join(digests).encode()).hexdigest()
