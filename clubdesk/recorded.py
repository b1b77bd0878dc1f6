"""What a room says of its rows whose changes are recorded."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Recorded:
    """A model, “roll.Guardian”, each change of which is recorded: by whom, when, what stood before and since.

    Of the columns `hidden` is only written that they changed, never from what to what; of those `masked` the last three
    characters. Those under `leaves` are kept by the book itself and say nothing of anybody's doing. `sets` names what
    leads to many rows, as a user to their roles. A row that `spares` names is written with another that is recorded.
    Whom a row is about is what is said under `personal`.
    """

    model: str
    hidden: tuple[str, ...] = ()
    masked: tuple[str, ...] = ()
    leaves: tuple[str, ...] = ()
    sets: tuple[str, ...] = ()
    said: Mapping[str, str] = field(default_factory=dict)
    """By column what somebody did who changed it, where its values say nothing: “ended the links”."""
    proven: tuple[str, ...] = ()
    """Columns that `check_books` holds against the record: each is what its last recorded change made of it."""
    spares: Callable[[Any], bool] = lambda row: False
