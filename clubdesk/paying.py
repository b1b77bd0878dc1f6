"""How somebody pays the club into its bank account: where, with which reference, and a code that a phone reads."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import segno
from djmoney.money import Money

from clubdesk.money import plain

LONGEST_NAME, LONGEST_REMITTANCE, MOST_BYTES = 70, 140, 331
QUIET = 4
"""Modules of paper around a code. Source: ISO/IEC 18004, 6.3.8."""


@dataclass(frozen=True)
class Written:
    """Something that is written on a transfer: its label, how it reads, and how it is typed where that differs."""

    label: str
    text: str
    plain: str = ""

    @property
    def typed(self) -> str:
        return self.plain or self.text


@dataclass(frozen=True)
class PaidInto:
    """The club's account for what comes in: a BSB with a number, or an IBAN.

    `since` is the day from which it takes the place of another, None for the first that the book knew.
    """

    holder: str
    bsb: str = ""
    number: str = ""
    iban: str = ""
    bic: str = ""
    since: date | None = None

    @property
    def lines(self) -> Sequence[Written]:
        """What is written on a transfer of whose account it is."""
        if self.iban:
            fours = [self.iban[start : start + 4] for start in range(0, len(self.iban), 4)]
            given = [Written("IBAN", " ".join(fours), self.iban), Written("BIC", self.bic)]
        else:
            given = [Written("BSB", self.bsb), Written("Account number", self.number)]
        return [Written("Account name", self.holder), *(each for each in given if each.text)]


def payment_code(account: PaidInto, amount: Money, reference: str) -> str:
    """What a bank's app reads to prepare the transfer; blank where no code is agreed on for the account or currency.

    Source: European Payments Council, EPC069-12, “Quick Response Code: Guidelines to enable data capture for the
    initiation of a SEPA credit transfer”, version 002, characters UTF-8: at most 331 bytes.
    """
    if not account.iban or amount.currency.code != "EUR" or amount.amount <= 0:
        return ""
    rows = (
        "BCD", "002", "1", "SCT", account.bic, account.holder[:LONGEST_NAME], account.iban, f"EUR{plain(amount)}",
        "", "", reference[:LONGEST_REMITTANCE],
    )  # fmt: skip
    code = "\n".join(rows)
    return code if len(code.encode()) <= MOST_BYTES else ""


@dataclass(frozen=True)
class Code:
    """A QR code of a text, at error level M: as a drawing for a page, and as the squares of which paper is made."""

    text: str

    def _made(self) -> segno.QRCode:
        return segno.make_qr(self.text, error="m", boost_error=False, encoding="utf-8")

    @property
    def squares(self) -> list[list[bool]]:
        """Row by row whether a module is dark, with the paper around it."""
        return [[bool(dark) for dark in row] for row in self._made().matrix_iter(border=QUIET)]

    @property
    def drawing(self) -> str:
        """An SVG without a size of its own, dark on white on any page, since not every app reads the reverse."""
        file = io.BytesIO()
        self._made().save(
            file, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=QUIET, dark="#000", light="#fff",
            svgclass=None, lineclass=None,
        )  # fmt: skip
        return file.getvalue().decode().strip()
