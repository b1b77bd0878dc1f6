"""Which rows a piece of work takes for itself, so that nobody else changes them meanwhile."""

from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

from django.db.models import Model, QuerySet


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
