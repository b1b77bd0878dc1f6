"""CSV of any shape, read by a mapping: which column is what, and how dates and amounts are written."""

import io
import itertools
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from clubdesk.bank.reading.lines import ReadLine, ReadStatement, as_cents, as_day, words
from clubdesk.errors import Refused
from clubdesk.ledger.files import Faults, rows_of_text

DELIMITERS = ",;\t|"
DAYS_FIRST = {
    "day first": r"(?P<d>\d{1,2})[-/. ](?P<m>\d{1,2})[-/. ](?P<y>\d{4}|\d{2})",
    "month first": r"(?P<m>\d{1,2})[-/. ](?P<d>\d{1,2})[-/. ](?P<y>\d{4}|\d{2})",
    "year first": r"(?P<y>\d{4})[-/. ]?(?P<m>\d{2})[-/. ]?(?P<d>\d{2})",
    "month in letters": r"(?P<d>\d{1,2})[-/. ]?(?P<b>[A-Za-z]{3,9})[-/., ]+(?P<y>\d{4}|\d{2})",
}
AMOUNT = re.compile(r"(?P<open>\()?\s*(?P<sign>[-+−])?\s*[$€£]?\s*(?P<sign2>[-+−])?(?P<digits>[\d.,' ]*\d[\d.,' ]*)\s*"
                    r"(?P<after>[-−]|CR|DR)?\s*(?(open)\))", re.IGNORECASE)  # fmt: skip
NAMES = {
    "debit": ("debit", "withdrawal", "paid out", "money out", "out"),
    "credit": ("credit", "deposit", "paid in", "money in", "in"),
    "balance": ("balance",),
    "amount": ("amount", "value"),
}
LOOKED_AT = 200


@dataclass(frozen=True)
class Mapping:
    """How a bank's CSV is read; columns count from 0. Either `amount`, or `debit` and `credit`.

    `text` are the columns whose words make the line; `skip` rows stand above the first line; `decimal` is the sign
    before the cents, the other of comma and point parts thousands.
    """

    encoding: str
    delimiter: str
    skip: int
    dates: str
    date: int
    text: tuple[int, ...]
    amount: int | None = None
    debit: int | None = None
    credit: int | None = None
    balance: int | None = None
    decimal: str = "."

    def as_dict(self) -> dict[str, Any]:
        return {**asdict(self), "text": list(self.text)}

    @classmethod
    def from_dict(cls, saved: dict[str, Any]) -> "Mapping":
        return cls(**{**saved, "text": tuple(saved["text"])})

    @property
    def needed(self) -> int:
        """How many columns a row must have."""
        named = (self.date, *self.text, self.amount, self.debit, self.credit, self.balance)
        return 1 + max(column for column in named if column is not None)


def read_delimited(content: bytes, mapping: Mapping) -> ReadStatement:
    """The lines of a CSV file by its mapping. Raises Refused with a sentence a fault, naming the row."""
    faults = Faults()
    lines = []
    for number, cells in _rows(content, mapping.encoding, mapping.delimiter)[mapping.skip :]:
        try:
            lines.append(_line(number, cells, mapping))
        except ValueError as fault:
            faults.add(number, f"{fault}.")
    faults.refuse()
    return ReadStatement("csv", tuple(lines))


def _line(number: int, cells: Sequence[str], mapping: Mapping) -> ReadLine:
    if len(cells) < mapping.needed:
        raise ValueError(f"{len(cells)} columns where {mapping.needed} are needed")
    amount = _amount(cells, mapping)
    if not amount:
        raise ValueError("the amount is 0.00")
    balance = None
    if mapping.balance is not None and cells[mapping.balance]:
        balance = as_number(cells[mapping.balance], mapping.decimal)
    text = words(*(cells[column] for column in mapping.text))
    return ReadLine(number, as_date(cells[mapping.date], mapping.dates), amount, text, balance=balance)


def _amount(cells: Sequence[str], mapping: Mapping) -> Decimal:
    if mapping.amount is not None:
        return as_number(cells[mapping.amount], mapping.decimal)
    out = cells[mapping.debit] if mapping.debit is not None else ""
    paid_in = cells[mapping.credit] if mapping.credit is not None else ""
    found = [sign * abs(as_number(cell, mapping.decimal)) for cell, sign in ((out, -1), (paid_in, 1)) if cell.strip()]
    found = [each for each in found if each] or found[:1]
    if len(found) != 1:
        raise ValueError("it must have either money in or money out")
    return found[0]


def as_number(text: str, decimal: str = ".") -> Decimal:
    """An amount as banks write it: thousands parted, a sign before or after, parentheses or DR for money out."""
    cell = text.strip()
    found = AMOUNT.fullmatch(cell)
    if not found:
        raise ValueError(f"“{cell[:30]}” is not an amount")
    thousands = "," if decimal == "." else "."
    whole, point, cents = found["digits"].replace(" ", "").replace("'", "").partition(decimal)
    if decimal in cents or (thousands in whole and not re.fullmatch(rf"\d{{1,3}}(\{thousands}\d{{3}})+", whole)):
        raise ValueError(f"“{cell[:30]}” is not an amount")
    whole = whole.replace(thousands, "")
    if not (whole or cents).isdigit() or (point and not cents.isdigit()) or not (whole + cents).isascii():
        raise ValueError(f"“{cell[:30]}” is not an amount")
    value = as_cents(Decimal(f"{whole or 0}.{cents or 0}"))
    signs = [found[each] for each in ("open", "sign", "sign2", "after") if found[each]]
    if len(signs) > 1:
        raise ValueError(f"“{cell[:30]}” is not an amount")
    return -value if signs and (signs[0] in "(-−" or signs[0].upper() == "DR") else value


def as_date(text: str, dates: str) -> date:
    """A date in one of the ways of `DAYS_FIRST`; years of two digits are of this century."""
    cell = text.strip().split("T")[0]
    cell = re.sub(r"\s+\d{1,2}:\d{2}(:\d{2})?$", "", cell)
    found = re.fullmatch(DAYS_FIRST[dates], cell, re.ASCII)
    if not found:
        raise ValueError(f"“{cell[:30]}” is not a date")
    parts = found.groupdict()
    month = _month(parts["b"]) if "b" in parts else int(parts["m"])
    year = int(parts["y"]) + (2000 if len(parts["y"]) == 2 else 0)
    return as_day(cell, year, month, int(parts["d"]))


def _month(name: str) -> int:
    for form in ("%b", "%B"):
        try:
            return datetime.strptime(name[:3] if form == "%b" else name, form).month  # noqa: DTZ007 - only the month
        except ValueError:
            continue
    raise ValueError(f"“{name}” is not a month")


def cells_of(content: bytes, mapping: Mapping) -> list[list[str]]:
    """The first rows of the file as they stand, for somebody who puts the mapping right."""
    return [cells for _, cells in _rows(content, mapping.encoding, mapping.delimiter)[:LOOKED_AT]]


def _rows(content: bytes, encoding: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """The rows that hold anything, each with the line of the file where it ends."""
    try:
        text = content.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        raise Refused("The file is in another encoding than the account's mapping says; propose a new one.") from None
    return rows_of_text(io.StringIO(text.replace("\r\n", "\n").replace("\r", "\n")), delimiter=delimiter)


# What a file itself says of its shape


def propose(content: bytes) -> Mapping:
    """How the file can be read, judged by its own lines. Raises Refused where it has no dates or amounts."""
    encoding = _encoding(content)
    delimiter = max(DELIMITERS, key=lambda each: _fitness(content, encoding, each))
    rows = [cells for _, cells in _rows(content, encoding, delimiter)[:LOOKED_AT]]
    width = max((len(cells) for cells in rows), default=0)
    dated, dates = _date_column(rows, width)
    body = [cells for cells in rows if dated < len(cells) and _is(as_date, cells[dated], dates)]
    skip = next(index for index, cells in enumerate(rows) if cells in body)
    header = rows[skip - 1] if skip else []
    decimal = _decimal_sign(body, width, dated)
    numbers = [
        column
        for column in range(width)
        if column != dated
        and any(_cell(cells, column) for cells in body)
        and all(_is(as_number, cell, decimal) for cells in body if (cell := _cell(cells, column)))
    ]
    amounts = _amount_columns(body, numbers, header, decimal)
    used = {dated, *(column for column in amounts.values() if column is not None)}
    text = tuple(
        column
        for column in range(width)
        if column not in used and any(re.search(r"[^\W\d_]", _cell(cells, column)) for cells in body)
        and not all(_is_date_of_any_form(_cell(cells, column)) for cells in body if _cell(cells, column))
    )  # fmt: skip
    if not text:
        text = tuple(column for column in range(width) if column not in used)[:1] or (dated,)
    return Mapping(encoding, delimiter, skip, dates, dated, text, decimal=decimal, **amounts)


def _encoding(content: bytes) -> str:
    try:
        content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return "cp1252" if _decodes(content, "cp1252") else "latin-1"
    return "utf-8-sig"


def _decodes(content: bytes, encoding: str) -> bool:
    try:
        content.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _fitness(content: bytes, encoding: str, delimiter: str) -> tuple[int, int]:
    """How many rows have a date and an amount in cells of their own, and how many have the usual number of cells."""
    try:
        rows = [cells for _, cells in _rows(content, encoding, delimiter)[:LOOKED_AT]]
    except Refused:
        return (0, 0)
    good = 0
    for cells in rows:
        dated = [_is_date_of_any_form(cell) for cell in cells]
        good += any(dated) and any(
            not day and (_is(as_number, cell, ".") or _is(as_number, cell, ","))
            for cell, day in zip(cells, dated, strict=True)
        )
    widths = [len(cells) for cells in rows]
    return good, max((widths.count(width) for width in set(widths)), default=0)


def _cell(cells: Sequence[str], column: int) -> str:
    return cells[column] if column < len(cells) else ""


def _is(reader: Any, cell: str, way: str) -> bool:
    try:
        reader(cell, way)
    except ValueError:
        return False
    return True


def _is_date_of_any_form(cell: str) -> bool:
    return any(_is(as_date, cell, dates) for dates in DAYS_FIRST)


def _date_column(rows: Sequence[Sequence[str]], width: int) -> tuple[int, str]:
    """The column and the way of writing that most rows are dates by; day first where both could be meant."""
    best, found = 0, None
    for column in range(width):
        for dates in DAYS_FIRST:
            count = sum(_is(as_date, _cell(cells, column), dates) for cells in rows)
            if count > best:
                best, found = count, (column, dates)
    if found is None:
        raise Refused("No column of dates is found in the file; export it as OFX, camt.053 or CSV with dates.")
    return found


def _decimal_sign(body: Sequence[Sequence[str]], width: int, dated: int) -> str:
    """Point or comma, whichever more cells with cents are written by."""
    cells = [cell for row in body for column, cell in enumerate(row[:width]) if column != dated]
    points, commas = (
        sum(bool(re.fullmatch(rf"[(]?[-+−$]*[\d.,' ]*\{sign}\d{{2}}[-−)]?", cell)) for cell in cells) for sign in ".,"
    )
    return "," if commas > points else "."


def _amount_columns(
    body: Sequence[Sequence[str]], numbers: Sequence[int], header: Sequence[str], decimal: str
) -> dict[str, int | None]:
    """Which columns hold the amount, or money out and in, and the balance: by their names, else by their figures."""
    if not numbers:
        raise Refused("No column of amounts is found in the file.")
    by_name = {kind: _named(header, kind) for kind in NAMES}
    balance = by_name["balance"]
    if balance is None:
        balance = next((column for column in reversed(numbers) if _runs(body, column, numbers, decimal)), None)
    others = [column for column in numbers if column != balance]
    debit, credit = by_name["debit"], by_name["credit"]
    if by_name["amount"] is None and debit is not None and credit is not None:
        return {"debit": debit, "credit": credit, "balance": balance}
    pairs = [
        (one, two)
        for place, one in enumerate(others)
        for two in others[place + 1 :]
        if all(bool(_value(cells, one, decimal)) != bool(_value(cells, two, decimal)) for cells in body)
    ]
    if by_name["amount"] is None and pairs:
        one, two = pairs[0]
        return {"debit": one, "credit": two, "balance": balance}
    amount = by_name["amount"]
    if amount is None:
        cents = [column for column in others if any(re.search(r"[.,]\d{2}\D*$", _cell(c, column)) for c in body)]
        amount = next(iter(cents or others), None)
    if amount is None:
        raise Refused("Only a column of balances is found in the file; export it with amounts.")
    return {"amount": amount, "balance": balance}


def _named(header: Sequence[str], kind: str) -> int | None:
    """The column whose header speaks of that kind, such as "Debit Amount" of money out; "Amount" alone is neither."""
    others = [name for each in ("debit", "credit", "balance") for name in NAMES[each]] if kind == "amount" else []
    for name in NAMES[kind]:
        for column, cell in enumerate(header):
            if _speaks(cell, name) and not any(_speaks(cell, other) for other in others):
                return column
    return None


def _speaks(cell: str, name: str) -> bool:
    return bool(re.search(rf"\b{name}s?\b", cell, re.IGNORECASE))


def _value(cells: Sequence[str], column: int, decimal: str) -> Decimal:
    cell = _cell(cells, column)
    return as_number(cell, decimal) if cell else Decimal(0)


def _runs(body: Sequence[Sequence[str]], column: int, numbers: Sequence[int], decimal: str) -> bool:
    """Whether the column is a running balance of the others, the newest first or last; a few gaps do not hide it."""
    others = [each for each in numbers if each != column]
    if len(body) < 3 or not others or not all(_cell(cells, column) for cells in body):
        return False
    pairs = [
        (pair, _value(pair[1], column, decimal) - _value(pair[0], column, decimal)) for pair in itertools.pairwise(body)
    ]
    for moved in (0, 1):  # by the earlier line of a pair or by the later one: newest first or last, before or after
        fits = sum(
            bool(step) and any(abs(_value(pair[moved], each, decimal)) == abs(step) for each in others)
            for pair, step in pairs
        )
        if fits >= 0.6 * len(pairs):
            return True
    return False
