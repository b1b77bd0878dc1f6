"""What a room tells a family on its own page: plain frozen types that know no model and no page."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Protocol

from django.urls import reverse


@dataclass(frozen=True, kw_only=True)
class Leads:
    """What leads to a page: its name and the arguments of its address; nowhere where the name is blank."""

    page: str = ""
    arguments: tuple[object, ...] = ()

    @property
    def url(self) -> str:
        return reverse(self.page, args=self.arguments) if self.page else ""


@dataclass(frozen=True)
class ToAnswer(Leads):
    """Something that the family decides, by a day: what it is, and a sentence."""

    title: str
    line: str
    by: date | None


@dataclass(frozen=True)
class OfChild(Leads):
    """A line about one of the family, by their id: what is so, and a second line.

    What `is_good` covers the child, as a membership; it has a tick.
    """

    person: int
    words: str
    note: str = ""
    is_good: bool = False


@dataclass(frozen=True)
class Act(Leads):
    """Something that the family may do whenever it likes: its words; an `is_quiet` one stands last, as words alone."""

    words: str
    is_quiet: bool = False


class PaidFor(Protocol):
    """What a fee pays for: its kind, and over how many sessions and weeks, where that is known."""

    @property
    def kind(self) -> str: ...
    @property
    def sessions(self) -> int | None: ...
    @property
    def weeks(self) -> int | None: ...


@dataclass(frozen=True)
class FeeToCome:
    """A fee that one of the family, by their id, would be charged today, as for a renewal or an offered place: what
    for, in cents, and within how many days it is paid, where that is not as usual.
    """

    person: int
    words: str
    cents: int
    item: PaidFor
    pay_days: int | None = None


@dataclass(frozen=True)
class Part:
    """A room's part of the page: what is to be answered, lines about the children, acts, by when charges of the
    room are paid, by their ids, where it is not as usual, and fees that are not charged yet.
    """

    to_answer: tuple[ToAnswer, ...] = ()
    children: tuple[OfChild, ...] = ()
    acts: tuple[Act, ...] = ()
    due: Mapping[int, date] = field(default_factory=dict)
    to_come: tuple[FeeToCome, ...] = ()
