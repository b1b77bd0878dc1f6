"""The plain types of matching: a line of a statement, what it may be, and how sure that is."""

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date
from enum import IntEnum

from clubdesk.expecting import Expected


class Grade(IntEnum):
    POSSIBLE = 1
    LIKELY = 2
    CERTAIN = 3


@dataclass(frozen=True)
class BankLine:
    """A line of the statement: cents, money in positive."""

    key: int
    day: date
    cents: int
    text: str


@dataclass(frozen=True)
class Proposal:
    """Lines and the items that explain them; lines without any cancel each other. `others` are answers besides, shown
    and never chosen.
    """

    lines: tuple[BankLine, ...]
    items: tuple[Expected, ...]
    grade: Grade
    reasons: tuple[str, ...]
    others: tuple[tuple[Expected, ...], ...] = ()


@dataclass(frozen=True)
class Habit:
    """What an earlier line of the account was booked to: its words, its cents, and the answer it would be again."""

    key: Hashable
    text: str
    cents: int
    what: str


def in_order(key: Hashable) -> tuple[int, str]:
    """Keys such as "posting 9" and "posting 10" in the order of their numbers."""
    return len(str(key)), str(key)


def apart(item: Expected, line: BankLine) -> int:
    return abs((line.day - item.day).days)


def within(item: Expected, line: BankLine) -> bool:
    return -item.early <= (line.day - item.day).days <= item.late
