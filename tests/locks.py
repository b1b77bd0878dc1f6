"""What is asked of the database, in order, and which rows it is asked to hold; told on SQLite too, which holds all."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from unittest import mock

from django.db import connection
from django.db.models import Model, QuerySet
from django.db.models.sql.compiler import SQLCompiler
from django.test.utils import CaptureQueriesContext


@contextmanager
def asked() -> Iterator[list[str]]:
    """A line for each question: "hold Household", "hold Charge by pk" for many in order, or else "read Charge"."""
    lines: list[str] = []
    plain = SQLCompiler.execute_sql

    def noting(self, *args, **options):
        held = self.query.select_for_update
        order = f" by {', '.join(map(str, self.query.order_by))}" if held and self.query.order_by else ""
        lines.append(f"{'hold' if held else 'read'} {self.query.model.__name__}{order}")
        return plain(self, *args, **options)

    with mock.patch.object(SQLCompiler, "execute_sql", noting):
        yield lines


def held(lines: list[str]) -> list[str]:
    """What was held, in order."""
    return [line.removeprefix("hold ") for line in lines if line.startswith("hold ")]


@contextmanager
def taking() -> Iterator[list[type[Model]]]:
    """Of which nouns rows were taken, in that order; asked of any database, also of one that locks as a whole."""
    found: list[type[Model]] = []
    plain = QuerySet.select_for_update

    def noted(rows: QuerySet[Model], *options: object, **named: object) -> QuerySet[Model]:
        found.append(rows.model)
        return plain(rows, *options, **named)  # type: ignore[arg-type]

    with mock.patch.object(QuerySet, "select_for_update", noted):
        yield found


def read_first(act: Callable[[], object]) -> str:
    """The table that a piece of work asks first."""
    with CaptureQueriesContext(connection) as asked:
        act()
    first: str = next(query["sql"] for query in asked if query["sql"].startswith("SELECT"))
    return first.partition(' FROM "')[2].partition('"')[0]
