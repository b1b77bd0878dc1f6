"""What a club sets up before it begins: a list that checks itself, on the home page until the first month is locked."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.cache import caches
from django.db.models import Exists, Subquery
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse

from clubdesk import rooms
from clubdesk.ledger.models import Book
from clubdesk.rooms import First
from clubdesk.verbs import may

FROM_HERE = "from=first-things"
"""In the address of a page that was opened from the list: once it is saved, it leads back there."""
UNDER_WAY, AN_HOUR = "first-things-are-over", 3600
"""A book that is under way is asked about them no more than once an hour (seconds), by each process."""
STAYS = ("_addanother", "_continue")
View = Callable[..., HttpResponseBase]


@dataclass(frozen=True)
class Thing:
    """One of the first things, whether it is done, and whether it is the first that is not."""

    first: First
    url: str
    is_done: bool
    is_next: bool


@dataclass(frozen=True)
class Beginning:
    """The first things of whoever looks, in their order."""

    things: tuple[Thing, ...]

    @property
    def done(self) -> int:
        return sum(thing.is_done for thing in self.things)


def beginning(request: HttpRequest) -> Beginning | None:
    """The first things that whoever looks may do; None once all are done or the book is under way."""
    if caches["figures"].get(UNDER_WAY):
        return None
    of = [each for room in rooms.in_order() for each in room.first_things if may(request.user, each.permission)]
    firsts = sorted(of, key=lambda each: each.place)
    over = [there for room in rooms.in_order() for there in room.under_way]
    asked = [Exists(each.there()) for each in firsts] + [Exists(there()) for there in over]
    found = _found([*asked, *(_row(each) for each in firsts if each.of)]) if firsts else []
    done, rest = found[: len(firsts)], found[len(firsts) :]
    if any(rest[: len(over)]):
        caches["figures"].set(UNDER_WAY, True, AN_HOUR)
    if all(done) or any(rest[: len(over)]):
        return None
    rows = iter(rest[len(over) :])
    after = list(done).index(False)
    things = [
        Thing(each, _url(each, next(rows) if each.of else None), ok, place == after)
        for place, (each, ok) in enumerate(zip(firsts, done, strict=True))
    ]
    return Beginning(tuple(things))


def _found(asked: Sequence[Exists | Subquery]) -> Sequence[Any]:
    """Of each whether it has a row, or which, in one question."""
    found: Sequence[Any] = Book.objects.values_list(*asked).get()
    return found


def _row(thing: First) -> Subquery:
    assert thing.of
    return Subquery(thing.of().order_by("pk").values("pk")[:1])


def _url(thing: First, row: int | None) -> str:
    """The form; the list of such rows where the one that it is of is not there."""
    if thing.of and row is None:
        meta = thing.of().model._meta
        return reverse(f"admin:{meta.app_label}_{meta.model_name}_changelist")
    return f"{reverse(thing.page, args=[row] if thing.of else [])}?{FROM_HERE}"


def and_back(view: View) -> View:
    """The view, after which whoever began it from the list is back on home with what is next."""

    @functools.wraps(view)
    def looked(request: HttpRequest, *asked: object, **given: object) -> HttpResponseBase:
        response = view(request, *asked, **given)
        if not isinstance(response, HttpResponseRedirect) or request.method != "POST":
            return response
        if FROM_HERE not in request.META.get("QUERY_STRING", ""):
            return response
        if any(name in request.POST for name in STAYS):
            if FROM_HERE in response.url:
                return response
            joint = "&" if "?" in response.url else "?"
            return HttpResponseRedirect(f"{response.url}{joint}{FROM_HERE}")
        return HttpResponseRedirect(reverse("admin:index"))

    return looked
