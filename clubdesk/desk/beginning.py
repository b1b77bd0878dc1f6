"""What a club sets up before it begins: a list that checks itself, on the home page until the first month is locked."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import rooms
from clubdesk.ledger.models import Book
from clubdesk.rooms import First
from clubdesk.verbs import may


@dataclass(frozen=True)
class Thing:
    """One of the first things, and whether it is done."""

    first: First
    url: str
    is_done: bool


@dataclass(frozen=True)
class Beginning:
    """The first things of whoever looks, in their order."""

    things: tuple[Thing, ...]

    @property
    def done(self) -> int:
        return sum(thing.is_done for thing in self.things)


def beginning(request: HttpRequest) -> Beginning | None:
    """The first things that whoever looks may do; None once all are done or the book is under way."""
    of = [each for room in rooms.in_order() for each in room.first_things if may(request.user, each.permission)]
    firsts = sorted(of, key=lambda each: each.place)
    over = [there for room in rooms.in_order() for there in room.under_way]
    there = _are_there([each.there() for each in firsts] + [there() for there in over]) if firsts else []
    done = there[: len(firsts)]
    if all(done) or any(there[len(firsts) :]):
        return None
    return Beginning(tuple(Thing(each, reverse(each.page), ok) for each, ok in zip(firsts, done, strict=True)))


def _are_there(rows: Sequence[QuerySet[Any]]) -> Sequence[bool]:
    """Of each whether it has a row, in one question."""
    found: Sequence[bool] = Book.objects.values_list(*map(Exists, rows)).get()
    return found
