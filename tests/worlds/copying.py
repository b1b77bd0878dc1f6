"""Rows copied within the database, many at once: keys move by a step, days by so many, what is unique gets a mark."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta

from django.db import connection
from django.db.models import DateField, DateTimeField, Field, JSONField, Model, UUIDField

STEP = 100_000
"""More than the rows of any table of the book that is copied."""


@dataclass(frozen=True)
class Copy:
    """The `nth` copy, made of the rows of another (0 are the first), each of its days `later`.

    Only the keys of `models` move; what leads to any other table leads to the same row. `columns` says in SQL what
    else becomes of a column, by "table.column"; there, `{nth}` is the copy's own number and `{step}` how far keys move.
    """

    nth: int
    later: timedelta
    models: tuple[type[Model], ...]
    of: int = 0
    columns: Mapping[str, str] = field(default_factory=dict)

    @property
    def step(self) -> int:
        return (self.nth - self.of) * STEP

    def make(self, where: Mapping[type[Model], str]) -> None:
        """Copy all rows of the models, or those `where` the SQL holds."""
        for model in self.models:
            table, columns = model._meta.db_table, model._meta.concrete_fields
            names = ", ".join(f'"{each.column}"' for each in columns)
            values = ", ".join(self._value(table, each) for each in columns)
            own = f"id >= {self.of * STEP} AND id < {(self.of + 1) * STEP} AND ({where.get(model, 'TRUE')})"
            run(f"INSERT INTO {table} ({names}) SELECT {values} FROM {table} WHERE {own}")

    def _value(self, table: str, column: "Field[object, object]") -> str:
        name = f'"{column.column}"'
        if said := self.columns.get(f"{table}.{column.column}"):
            return said.format(nth=self.nth, step=self.step)
        if column.primary_key or (column.is_relation and column.related_model in self.models):
            return f"{name} + {self.step}"
        if isinstance(column, DateTimeField):
            return later_moment(name, self.later.days)
        if isinstance(column, DateField):
            return later_day(name, self.later.days)
        if isinstance(column, UUIDField):
            return fresh_key(name, self.nth)
        if isinstance(column, JSONField) and column.column == "people":
            return moved_keys(name, self.step)
        return name


def is_sqlite() -> bool:
    return connection.vendor == "sqlite"


def run(sql: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def later_day(name: str, days: int) -> str:
    return f"date({name}, '+{days} days')" if is_sqlite() else f"{name} + {days}"


def later_moment(name: str, days: int) -> str:
    moved = f"strftime('%Y-%m-%d %H:%M:%f', {name}, '+{days} days') || '000'".replace("%", "%%")
    return moved if is_sqlite() else f"{name} + interval '{days} days'"


def fresh_key(name: str, nth: int) -> str:
    return f"fresh_key({name}, {nth})" if is_sqlite() else f"md5({name}::text || ' {nth}')::uuid"


def moved_keys(name: str, step: int) -> str:
    if is_sqlite():
        return f"moved_keys({name}, {step})"
    each = f"jsonb_array_elements_text({name}) WITH ORDINALITY AS found (key, place)"
    return f"COALESCE((SELECT jsonb_agg(key::bigint + {step} ORDER BY place) FROM {each}), '[]'::jsonb)"


def only_copy() -> None:
    """Until the transaction ends PostgreSQL looks no key up, which SQLite does, and has room for whole tables."""
    if not is_sqlite():
        run("SET LOCAL session_replication_role = replica")
        run("SET LOCAL work_mem = '256MB'")


def teach_sqlite() -> None:
    """What PostgreSQL can do by itself."""
    if is_sqlite():
        connection.ensure_connection()
        functions = {
            "fresh_key": lambda key, nth: key and hashlib.md5(f"{key} {nth}".encode()).hexdigest(),
            "moved_keys": lambda keys, step: json.dumps([key + step for key in json.loads(keys)]),
        }
        for name, function in functions.items():
            connection.connection.create_function(name, 2, function, deterministic=True)


def count_on(models: Iterable[type[Model]]) -> None:
    """New rows are numbered after the copied ones; SQLite does so by itself."""
    if not is_sqlite():
        for model in models:
            table = model._meta.db_table
            run(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT MAX(id) + 1 FROM {table}))")
