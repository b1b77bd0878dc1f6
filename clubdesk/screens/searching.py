"""What a list's search box finds beside words in columns, and what the rooms' finders share."""

from collections.abc import Callable, Iterable, Iterator
from functools import reduce
from operator import and_, or_
from typing import TypeVar

from django.db import models
from djmoney.money import Money

from clubdesk.finding import Sought, namesakes
from clubdesk.money import from_cents
from clubdesk.rooms import Hit

MOST_IN_A_LIST = 50
"""So many names at most that are not spelt as they were typed."""

Row = TypeVar("Row", bound=models.Model)
Way = Callable[[Sought], models.Q]
"""The rows that are meant, without a join to many of each; an empty Q where none can be."""


def amounts(sought: Sought) -> tuple[Money, ...]:
    """The amount looked for, in and out; none where it is no amount."""
    return () if sought.cents is None else (from_cents(sought.cents), from_cents(-sought.cents))


def amount_in(*columns: str) -> Way:
    """A whole amount, whichever its sign, in one of these columns."""

    def way(sought: Sought) -> models.Q:
        either = amounts(sought)
        return reduce(or_, (models.Q(**{f"{column}__in": either}) for column in columns)) if either else models.Q()

    return way


def all_words(sought: Sought, column: str) -> models.Q:
    """The rows of whose column each word is a part."""
    parts = [word for word in sought.text.split() if len(word) > 2] if sought.words and not sought.called else []
    return reduce(and_, (models.Q(**{f"{column}__icontains": part}) for part in parts), models.Q()) or models.Q(
        pk__in=()
    )


def hit(document: models.Model, name: str, line: str, is_alike: bool = False) -> Hit:
    """A document found, which leads to its own page."""
    meta = document._meta
    return Hit(name, line, f"admin:{meta.app_label}_{meta.model_name}_change", (document.pk,), is_alike)


def by_name(sought: Sought, rows: Iterable[Row], limit: int) -> Iterator[tuple[Row, bool]]:
    """The rows that are called so, or nearly, and whether only nearly; for what a club has few of."""
    known = {row.pk: row for row in rows} if sought.words else {}
    found = namesakes(sought.words, ((pk, str(row)) for pk, row in known.items()), limit)
    return ((known[each.key], each.is_alike) for each in found)


def named_like(model: type[models.Model]) -> Way:
    """For a list's own box: the rows whose names are like what was typed."""

    def way(sought: Sought) -> models.Q:
        alike = by_name(sought, model._default_manager.all(), MOST_IN_A_LIST)
        return models.Q(pk__in=[row.pk for row, _ in alike])

    return way
