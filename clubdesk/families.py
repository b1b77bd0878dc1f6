"""What a room tells a family on its own page: plain frozen types that know no model and no page."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

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


@dataclass(frozen=True)
class Part:
    """A room's part of the page: what is to be answered, lines about the children, acts, and by when charges of the
    room are paid, by their ids, where it is not as usual.
    """

    to_answer: tuple[ToAnswer, ...] = ()
    children: tuple[OfChild, ...] = ()
    acts: tuple[Act, ...] = ()
    due: Mapping[int, date] = field(default_factory=dict)
