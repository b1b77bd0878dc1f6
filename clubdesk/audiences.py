"""Whom a room lets the club write to together: plain frozen types that know no model and no page."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Audience:
    """Families that the club writes to together, as “Those of a cohort”; `name` stands in addresses.

    `families` gives, for what was chosen and the day, the people whom it concerns by the family that is written to,
    all by their ids. `choices` are what one chooses from, the likeliest first: ids and words; None where there is
    nothing to choose, and then 0 is chosen.
    """

    name: str
    title: str
    families: Callable[[int, date], Mapping[int, Sequence[int]]]
    choices: Callable[[date], Iterable[tuple[int, str]]] | None = None


@dataclass(frozen=True)
class ToCome:
    """Something that is to come for a person, by their id: the day, and what it is."""

    person: int
    day: date
    what: str
