"""Statements that make a guard of the database fire, and what the database says to them.

They run in the world `unguarded`, where no guard stands but the one that is asked about, so that none hides another.
A row is always a copy of one that stands, or one that stands, changed; a value is SQL.
"""

import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from clubdesk.guards import Guard, put

Statement = str | tuple[str, Sequence[object]]


def columns_of(table: str) -> dict[str, models.Field]:
    """The table's columns, each with what Django knows of it; of a foreign key, what it points at."""
    model = next(each for each in apps.get_models(include_auto_created=True) if each._meta.db_table == table)
    found = {}
    for field in model._meta.concrete_fields:
        end = field
        while end.remote_field:
            end = end.target_field
        found[str(field.column)] = end
    return found


def literal(value: object) -> str:
    return str(value) if isinstance(value, int) else f"'{value}'"


@dataclass(frozen=True)
class Unique:
    """Columns that no two rows share while both meet the condition."""

    model: type[models.Model]
    fields: Sequence[str]
    condition: models.Q | None = None

    @property
    def columns(self) -> list[str]:
        return [str(self.model._meta.get_field(name).column) for name in self.fields]

    @property
    def decides(self) -> set[str]:
        """The columns that the condition asks for, and those that are unique."""
        return {*self.columns, *self._wanted(self.condition)}

    def row(self) -> tuple[str, tuple[str, ...]]:
        """Where a row stands that another could be like, and what must be done before for there to be one."""
        filled = {f"{name}__isnull": False for name in self.fields}
        rows = self.model._base_manager.filter(self.condition or models.Q(), **filled).order_by("pk")
        if found := rows.first():
            return f"id = {found.pk}", ()
        kinds = columns_of(self.model._meta.db_table)
        values = {column: f'COALESCE("{column}", {literal(another(kinds[column], None))})' for column in self.columns}
        return "TRUE", (changed(self.model._meta.db_table, **{**values, **self._wanted(self.condition)}),)

    def _wanted(self, condition: models.Q | None) -> dict[str, str]:
        """What the columns of a condition are in a row that meets it."""
        found: dict[str, str] = {}
        for child in condition.children if condition else ():
            if isinstance(child, models.Q):
                found |= self._wanted(child)
                continue
            name, _, lookup = child[0].partition("__")
            value = child[1][0] if lookup == "in" else child[1]
            found[str(self.model._meta.get_field(name).column)] = "NULL" if value is None else literal(value)
        return found


def unique_in(table: str) -> Iterator[Unique]:
    model = next(each for each in apps.get_models() if each._meta.db_table == table)
    yield from (Unique(model, [field.name]) for field in model._meta.concrete_fields if field.unique)
    for constraint in model._meta.constraints:
        if isinstance(constraint, models.UniqueConstraint) and constraint.fields:
            yield Unique(model, constraint.fields, constraint.condition)


def one(table: str, where: str = "TRUE") -> str:
    """The first row that fits."""
    return f"id = (SELECT MIN(id) FROM {table} WHERE {where})"


def changed(table: str, where: str = "TRUE", **values: object) -> str:
    """The first row that fits is changed."""
    new = ", ".join(f'"{column}" = {value}' for column, value in values.items())
    return f"UPDATE {table} SET {new} WHERE {one(table, where)}"


def deleted(table: str, where: str = "TRUE") -> str:
    """The first row that fits is deleted."""
    return f"DELETE FROM {table} WHERE {one(table, where)}"


def added(table: str, where: str = "TRUE", **values: object) -> str:
    """A copy of the first row that fits comes to it, with an id and a key of its own unless `values` say otherwise.

    On SQLite by the statement that would put it in the place of a row that is like it.
    """
    own = {"id": f"(SELECT MAX(id) + 1 FROM {table})", "key": f"'{uuid.uuid4().hex}'"}
    columns = columns_of(table)
    taken = ", ".join(str(values.get(column, own.get(column, f'"{column}"'))) for column in columns)
    names = ", ".join(f'"{column}"' for column in columns)
    insert = "INSERT OR REPLACE" if connection.vendor == "sqlite" else "INSERT"
    return f"{insert} INTO {table} ({names}) SELECT {taken} FROM {table} WHERE {one(table, where)}"


@dataclass(frozen=True, init=False)
class Fires:
    """Each of the statements is refused by the guard, once what comes `before` has been run without it.

    What it `spares`, it lets pass. `only_on` names the one database where the guard has something to refuse.
    """

    statements: tuple[str, ...]
    before: tuple[str, ...]
    spares: tuple[str, ...]
    only_on: str

    def __init__(
        self, *statements: str, before: Sequence[str] = (), spares: Sequence[str] = (), only_on: str = ""
    ) -> None:
        told = {"statements": statements, "before": tuple(before), "spares": tuple(spares), "only_on": only_on}
        for name, value in told.items():
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class Does:
    """The statement makes the guard do something: afterwards the condition `then` holds, and without the guard not."""

    statement: str
    then: str
    before: Sequence[str] = ()


Cases = dict[str, Fires | Does | list[Fires]]


@contextmanager
def undone() -> Iterator[None]:
    """What is done within is rolled back."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def run(statement: Statement) -> None:
    with connection.cursor() as cursor:
        if isinstance(statement, str):
            cursor.execute(statement)
        else:
            cursor.execute(*statement)


def answer(statement: Statement, guard: Guard | None = None, before: Sequence[Statement] = ()) -> str:
    """What the database says to a statement, with that one guard or with none; nothing where it lets it pass."""
    with undone():
        for each in before:
            run(each)
        if guard:
            put(connection, guard)
        try:
            with transaction.atomic():
                run(statement)
        except IntegrityError as refused:
            return str(refused).splitlines()[0]
    return ""


def does(case: Does, guard: Guard | None = None) -> bool:
    """Whether after the statement holds what the guard makes so."""
    with undone():
        for each in case.before:
            run(each)
        if guard:
            put(connection, guard)
        run(case.statement)
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT CASE WHEN {case.then} THEN 1 ELSE 0 END")
            return bool(cursor.fetchone()[0])


@contextmanager
def without_checks(*tables: str) -> Iterator[None]:
    """The tables' own conditions are lifted, so that a row can be in any state whatever else it says."""
    with undone(), connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA ignore_check_constraints = ON")
        else:
            for table in tables:
                for name, constraint in connection.introspection.get_constraints(cursor, table).items():
                    if constraint["check"]:
                        cursor.execute(f'ALTER TABLE {table} DROP CONSTRAINT "{name}"')
        try:
            yield
        finally:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA ignore_check_constraints = OFF")


def another(field: models.Field, now: object) -> object:
    """A value as the database takes it that is of the field's kind and is not `now`."""
    kind = field.get_internal_type()
    if "Integer" in kind or "Auto" in kind or "Cents" in kind:
        return int(now or 0) + (1_000 if "Small" in kind else 100_000)
    if kind == "BooleanField":
        return not now
    kinds = {
        "DateField": (date(2026, 1, 2), date(2026, 1, 3)),
        "DateTimeField": (datetime(2026, 1, 2, tzinfo=UTC), datetime(2026, 1, 3, tzinfo=UTC)),
        "TimeField": (time(1, 2), time(1, 3)),
        "JSONField": ([1], [2]),
        "UUIDField": (uuid.UUID(int=1), uuid.UUID(int=2)),
    }
    values = kinds.get(kind, ("y", "z"))
    first, second = (field.get_db_prep_value(value, connection, prepared=False) for value in values)
    return second if str(now) == str(first) else first
