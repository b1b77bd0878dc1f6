"""What is asked of the database, in order, and which rows it is asked to hold; told on SQLite too, which holds all."""

from collections.abc import Iterator
from contextlib import contextmanager
from unittest import mock

from django.db.models.sql.compiler import SQLCompiler


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
