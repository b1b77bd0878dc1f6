"""Which rows a piece of work takes for itself, so that nobody else changes them meanwhile."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from unittest.mock import patch

from django.db import connection
from django.db.models import Model, QuerySet
from django.test.utils import CaptureQueriesContext


@contextmanager
def held() -> Iterator[list[type[Model]]]:
    """Of which nouns rows were taken, in that order; asked of any database, also of one that locks as a whole."""
    found: list[type[Model]] = []
    plain = QuerySet.select_for_update

    def noted(rows: QuerySet[Model], *options: object, **named: object) -> QuerySet[Model]:
        found.append(rows.model)
        return plain(rows, *options, **named)  # type: ignore[arg-type]

    with patch.object(QuerySet, "select_for_update", noted):
        yield found


def read_first(act: Callable[[], object]) -> str:
    """The table that a piece of work asks first."""
    with CaptureQueriesContext(connection) as asked:
        act()
    first: str = next(query["sql"] for query in asked if query["sql"].startswith("SELECT"))
    return first.partition(' FROM "')[2].partition('"')[0]
