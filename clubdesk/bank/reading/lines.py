"""What every reader of statements gives: lines of a date, an amount and words, and the balances about them."""

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal, InvalidOperation

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.money import CENT, LARGEST, shown

MOST_BYTES = 5 * 1024 * 1024
LONGEST_TEXT = 200
FIRST_DAY, LAST_DAY = date(1990, 1, 1), date(2099, 12, 31)


@dataclass(frozen=True)
class ReadLine:
    """A line of a statement: money in positive, money out negative.

    `row` is where in the file it stands; `bank_id` what the bank itself calls it, and `balance` what the account holds
    after it, where the file says so.
    """

    row: int
    date: date
    amount: Decimal
    text: str
    bank_id: str = ""
    balance: Decimal | None = None


@dataclass(frozen=True)
class ReadStatement:
    """The lines of a file, oldest first, and the balances before and after them where the file says so.

    `pending` are lines that the bank only announces: they have not moved the balance, and wait for a later file.
    """

    form: str
    lines: tuple[ReadLine, ...]
    opening: Decimal | None = None
    closing: Decimal | None = None
    pending: tuple[ReadLine, ...] = ()

    def checked(self) -> "ReadStatement":
        """Itself in the order of time, with its balances found to agree. Raises Refused and names each gap."""
        if not self.lines:
            raise Refused("The file holds no line of a statement.")
        lines, pending = _settled(_oldest_first(self.lines))
        gaps = list(_gaps(lines))
        opening, closing = self.opening, self.closing
        if all(line.balance is not None for line in lines):
            opening = _before(lines[0]) if opening is None else opening
            closing = lines[-1].balance if closing is None else closing
        moved = sum((line.amount for line in lines), Decimal(0))
        if opening is not None and closing is not None and opening + moved != closing:
            gaps.append(
                f"The lines come to {shown(moved)}; by its balances ({shown(opening)} before, {shown(closing)} after) "
                f"the statement moved by {shown(closing - opening)}. Lines are missing."
            )
        if gaps:
            raise Refused(gaps)
        return replace(self, lines=tuple(lines), opening=opening, closing=closing, pending=tuple(pending))


def _before(line: ReadLine) -> Decimal:
    return (line.balance or Decimal(0)) - line.amount


def _settled(lines: Sequence[ReadLine]) -> tuple[list[ReadLine], list[ReadLine]]:
    """The lines that are in the balance, and those that are pending: without one, in a file whose others have one.

    A bank that prints its balance once a day leaves it out of settled lines too: what the next balance accounts for is
    settled, and where there is any such, what stands before the first balance is as well.
    """
    if not any(line.balance is not None for line in lines):
        return list(lines), []
    begins, groups = _by_balance(lines)
    settled: list[ReadLine] = []
    pending: list[ReadLine] = []
    for (first, *without), after in itertools.pairwise((*groups, [])):
        moved = _before(after[0]) - (first.balance or Decimal(0)) if after else Decimal(0)
        accounted = bool(moved) and moved == sum(each.amount for each in without)
        settled += [first, *without] if accounted else [first]
        pending += [] if accounted else without
    once_a_day = any(line.balance is None for line in settled)
    return (begins + settled, pending) if once_a_day else (settled, begins + pending)


def _by_balance(lines: Sequence[ReadLine]) -> tuple[list[ReadLine], list[list[ReadLine]]]:
    """What stands before the first balance; then each line with a balance, and those without one that follow it."""
    begins: list[ReadLine] = []
    groups: list[list[ReadLine]] = []
    for line in lines:
        if line.balance is not None:
            groups.append([line])
        else:
            (groups[-1] if groups else begins).append(line)
    return begins, groups


def _oldest_first(lines: Sequence[ReadLine]) -> list[ReadLine]:
    """By date, each with the balance after it; within a day in the file's own order.

    A file may have the newest line first, and balances before each line in place of after it: where its balances speak,
    the way by which they have the fewest gaps is the file's own.
    """
    newest_first = lines[0].date > lines[-1].date
    ways = [lines[::-1]] if newest_first else [lines]
    if lines[0].date == lines[-1].date:
        ways.append(lines[::-1])
    told = [
        sorted(_with_balances_after(way) if before else way, key=lambda line: line.date)
        for way in ways
        for before in (False, True)
    ]
    return min(told, key=lambda each: len(_gaps(each)))


def _with_balances_after(lines: Sequence[ReadLine]) -> list[ReadLine]:
    return [line if line.balance is None else replace(line, balance=line.balance + line.amount) for line in lines]


def _gaps(lines: Sequence[ReadLine]) -> list[str]:
    found = []
    for earlier, later in itertools.pairwise(lines):
        if earlier.balance is None or later.balance is None:
            continue
        missing = later.balance - later.amount - earlier.balance
        if missing:
            found.append(
                f"Between row {earlier.row} ({day_text(earlier.date)}) and row {later.row} ({day_text(later.date)}) "
                f"the balance jumps by {shown(missing)}: a line is missing or altered."
            )
    return found


def words(*parts: str | None) -> str:
    """The bank's words in one line, each said once."""
    said: list[str] = []
    for part in parts:
        text = " ".join((part or "").split())
        if text and text.casefold() not in " ".join(said).casefold():
            said.append(text)
    return " ".join(said)[:LONGEST_TEXT].rstrip() or "(no words)"


def as_decimal(text: str) -> Decimal:
    """A plain number of a standard file as an amount. Raises ValueError for anything else."""
    if not re.fullmatch(r"[+-]?[0-9]+([.,][0-9]+)?", text.strip()):
        raise ValueError(f"“{text.strip()[:30]}” is not an amount")
    try:
        return as_cents(Decimal(text.strip().replace(",", ".")))
    except InvalidOperation:
        raise ValueError(f"“{text.strip()[:30]}” is not an amount") from None


def as_cents(value: Decimal) -> Decimal:
    """The amount in whole cents. Raises ValueError where it has more, or is beyond what an amount can be."""
    if abs(value) > LARGEST:
        raise ValueError(f"“{str(value)[:20]}…” is more than an amount can be")
    if value != value.quantize(CENT):
        raise ValueError(f"{value} has more than two decimals")
    return value.quantize(CENT)


def as_day(text: str, year: int, month: int, number: int) -> date:
    """A date within living memory. Raises ValueError where there is no such day."""
    try:
        day = date(year, month, number)
    except ValueError:
        raise ValueError(f"“{text}” is not a date") from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(f"“{text}” is out of reach; check the year")
    return day
