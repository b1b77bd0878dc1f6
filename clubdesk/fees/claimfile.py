"""A voucher claim as the department's own template has it: what each cell says, and the file of it."""

import csv
import hashlib
import io
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from djmoney.money import Money
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from clubdesk.fees.models import ClaimColumn, ClaimsAs, DaysAs, Holds, Voucher
from clubdesk.handing import CSV, XLSX
from clubdesk.tables import in_file

Cell = str | date | Decimal | int | None
IN_WORKBOOKS = {
    DaysAs.ISO: "yyyy-mm-dd",
    DaysAs.SLASHES: "dd/mm/yyyy",
    DaysAs.DASHES: "dd-mm-yyyy",
    DaysAs.DOTS: "dd.mm.yyyy",
    DaysAs.WORDS: "dd mmm yyyy",
    DaysAs.DIGITS: "yyyymmdd",
}
"""How a workbook is told to show a day that is written so."""

TOLD: dict[str, Callable[[Voucher], object]] = {
    Holds.GIVEN: lambda voucher: voucher.person.given_name,
    Holds.FAMILY: lambda voucher: voucher.person.family_name,
    Holds.NAME: lambda voucher: str(voucher.person),
    Holds.BORN: lambda voucher: voucher.person.birth_date,
    Holds.KEY: lambda voucher: voucher.code,
    Holds.FEE: lambda voucher: voucher.charge.amount,
    Holds.AMOUNT: lambda voucher: voucher.claimed,
    Holds.REFERENCE: lambda voucher: reference_of(voucher),
    Holds.CLAIM: lambda voucher: sent_with(voucher),
    Holds.ACTIVITY: lambda voucher: str(voucher.charge.price.item) if voucher.charge.price else "",
    Holds.STARTS: lambda voucher: voucher.charge.starts_on,
    Holds.ACCEPTED: lambda voucher: voucher.accepted_on,
    Holds.ISSUED: lambda voucher: voucher.issued_on,
}


def reference_of(voucher: Voucher) -> str:
    """The club's own reference of a voucher, by which an answer is known whatever the voucher's key is."""
    return f"V{voucher.pk}"


def sent_with(voucher: Voucher) -> int | None:
    """The number of the claim that it was sent with, also where a part of it was paid by itself."""
    claim = voucher.lodgement
    return (claim.part_of_id or claim.pk) if claim else None


def in_claim(columns: Sequence[ClaimColumn]) -> list[ClaimColumn]:
    """The columns that stand in a claim, in their places."""
    return [column for column in columns if column.in_claim]


def cells_of(columns: Sequence[ClaimColumn], vouchers: Sequence[Voucher]) -> list[list[Cell]]:
    """What each column of the claim holds of each voucher: text, a day, an amount in units, or nothing."""
    return [[_cell(column, voucher) for column in in_claim(columns)] for voucher in vouchers]


def _cell(column: ClaimColumn, voucher: Voucher) -> Cell:
    if column.holds == Holds.FIXED:
        return column.text
    told = TOLD[column.holds](voucher) if column.holds in TOLD else None
    return told.amount if isinstance(told, Money) else told  # type: ignore[return-value]


def told_digest(columns: Sequence[ClaimColumn], cells: Sequence[Sequence[Cell]]) -> str:
    """The digest (SHA-256) of what the file says, which a workbook saved a minute later says as well."""
    heads = [(column.heading, column.days_as) for column in in_claim(columns)]
    return hashlib.sha256(repr((heads, [[str(cell) for cell in row] for row in cells])).encode()).hexdigest()


def written(kind: str, columns: Sequence[ClaimColumn], cells: Sequence[Sequence[Cell]]) -> tuple[bytes, str]:
    """The file and its content type: a CSV in UTF-8, or a workbook of one sheet. Text never becomes a formula."""
    stands = in_claim(columns)
    if kind == ClaimsAs.XLSX:
        return _workbook(stands, cells), XLSX
    file = io.StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow([in_file(column.heading) for column in stands])
    for row in cells:
        writer.writerow([_as_text(column, cell) for column, cell in zip(stands, row, strict=True)])
    return file.getvalue().encode("utf-8-sig"), CSV


def _as_text(column: ClaimColumn, cell: Cell) -> str:
    return cell.strftime(column.days_as) if isinstance(cell, date) else in_file(cell)


def _workbook(columns: Sequence[ClaimColumn], cells: Sequence[Sequence[Cell]]) -> bytes:
    book, file = Workbook(write_only=True), io.BytesIO()
    sheet = book.create_sheet("Claim")

    def of(column: ClaimColumn, value: Any) -> Any:
        cell = WriteOnlyCell(sheet, value)
        if isinstance(value, str):
            cell.data_type = "s"
        if isinstance(value, date):
            cell.number_format = IN_WORKBOOKS[DaysAs(column.days_as)]
        if isinstance(value, Decimal):
            cell.number_format = "0.00"
        return cell

    sheet.append([of(column, column.heading) for column in columns])
    for row in cells:
        sheet.append([of(column, cell) for column, cell in zip(columns, row, strict=True)])
    book.save(file)
    return file.getvalue()
