"""Rules that the database itself keeps, as triggers written once and installed on SQLite and PostgreSQL.

Django remakes an SQLite table in most migrations and its triggers vanish with it, so they are all installed
again after every `migrate`; a system check and `check_books` report one that is missing or altered.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from django.apps import apps
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Field, Model, Q, UniqueConstraint

PREFIX = "guard_"


@dataclass(frozen=True)
class Guard:
    """A trigger: refuses a row `when` a condition holds, or `does` a statement after it.

    `event` is INSERT, UPDATE (of a column: UPDATE OF it), DELETE or (PostgreSQL only) TRUNCATE; `when` and `does` are
    SQL that both databases read, with OLD and NEW as in any trigger; `message` is what the refused program is told.
    `holds` names rows and how PostgreSQL holds them before it looks ("ledger_book b FOR NO KEY UPDATE"), so that nobody
    changes meanwhile what the condition asks; SQLite lets only one write anyhow.
    """

    name: str
    table: str
    event: str
    when: str = ""
    message: str = ""
    does: str = ""
    holds: str = ""

    @property
    def trigger(self) -> str:
        return f"{PREFIX}{self.name}"

    def sqlite(self) -> str:
        timing, body = ("AFTER", self.does) if self.does else ("BEFORE", f"SELECT RAISE(ABORT, {self._text})")
        condition = f" WHEN {self.when}" if self.when else ""
        return (
            f"CREATE TRIGGER {self.trigger} {timing} {self.event} ON {self.table} FOR EACH ROW"
            f"{condition} BEGIN {body}; END"
        )

    def postgresql_body(self) -> str:
        refusal = f"RAISE EXCEPTION USING ERRCODE = 'integrity_constraint_violation', MESSAGE = {self._text}"
        body = f"{self.does or refusal};"
        if self.when:
            body = f"IF {self.when} THEN {body} END IF;"
        if self.holds:
            body = f"PERFORM 1 FROM {self.holds}; {body}"
        row = "OLD" if self.event == "DELETE" else "NEW"
        result = "NULL" if self.does or self.event == "TRUNCATE" else row
        return f"BEGIN {body} RETURN {result}; END"

    def postgresql(self) -> str:
        timing = "AFTER" if self.does else "BEFORE"
        each = "STATEMENT" if self.event == "TRUNCATE" else "ROW"
        return (
            f"CREATE OR REPLACE FUNCTION {self.trigger}() RETURNS trigger LANGUAGE plpgsql"
            f" AS $guard${self.postgresql_body()}$guard$;"
            f"CREATE TRIGGER {self.trigger} {timing} {self.event} ON {self.table}"
            f" FOR EACH {each} EXECUTE FUNCTION {self.trigger}();"
        )

    @property
    def _text(self) -> str:
        return "'" + self.message.replace("'", "''") + "'"


@dataclass(frozen=True)
class Kept:
    """Which columns of a table stay as they were written, and which may change."""

    columns: tuple[str, ...]
    free: tuple[str, ...]


KEPT: dict[str, Kept] = {}
"""By table; the house's check holds it against the columns that there are."""
IDENTITY = ("id", "key", "recorded_by_id", "recorded_at")
"""What every document keeps: which row it is, and who wrote it when."""


MOVED: dict[str, str] = {}
"""By what a column leads to, “roll.Person”: the condition, with {table} and {column}, under which it may change all the
same, since the two that it led to turned out to be one.
"""


def kept(table: str, noun: str, *columns: str, free: Sequence[str] = ()) -> list[Guard]:
    """Guards that a document's row is never deleted or replaced and that its `columns` stay, with who wrote it when.

    `free` names the columns that its verbs change later; together they are all that the table has. SQLite's INSERT OR
    REPLACE deletes whatever is unique like the new row without asking the guard against deletion; hence the third.
    """
    KEPT[table] = Kept((*IDENTITY, *columns), tuple(free))
    columns = (*IDENTITY, *columns)
    return [
        Guard(
            f"{table}_keeps",
            table,
            "UPDATE",
            when=changes(table, *columns),
            message=f"A {noun} keeps what the ledger says of it.",
        ),
        Guard(f"{table}_stays", table, "DELETE", message=f"A {noun} is never deleted."),
        replaces_nothing(table, noun),
    ]


def differs(*columns: str) -> str:
    """The condition that one of the columns is not what it was; to nothing and from nothing is a change too."""
    return " OR ".join(
        f'NEW."{column}" <> OLD."{column}" OR (NEW."{column}" IS NULL) <> (OLD."{column}" IS NULL)'
        for column in columns
    )


REPLACED: set[str] = set()
"""The tables of which no row is ever replaced."""


def changes(table: str, *columns: str) -> str:
    """The same for a row of a table that may lead to people: they may be merged into others, and to nobody else."""
    return " OR ".join(
        f"({differs(column)}) AND NOT {MOVED[led].format(table=table, column=column)}" if led else differs(column)
        for column, led in ((column, _leads_to(table, column)) for column in columns)
    )


def _leads_to(table: str, column: str) -> str:
    """What may be merged that the column leads to; blank for any other."""
    model = next(each for each in apps.get_models(include_auto_created=True) if each._meta.db_table == table)
    for field in model._meta.concrete_fields:
        related = field.related_model
        if field.column == column and isinstance(related, type) and related._meta.label in MOVED:
            return str(related._meta.label)
    return ""


def replaces_nothing(table: str, noun: str) -> Guard:
    """A guard that no new row takes the place of one that stands, by anything that is unique in the table."""
    REPLACED.add(table)
    return Guard(
        f"{table}_replaces_nothing",
        table,
        "INSERT",
        when=" OR ".join(f"EXISTS (SELECT 1 FROM {table} x WHERE {same})" for same in _likenesses(table)),
        message=f"This {noun} stands already; it is never replaced.",
    )


def _likenesses(table: str) -> Iterator[str]:
    """What makes NEW and another row, x, the same, once for each column and constraint that is unique."""
    model = next(each for each in apps.get_models() if each._meta.db_table == table)
    for field in model._meta.concrete_fields:
        if field.unique:
            yield f"x.{field.column} = NEW.{field.column}"
    for constraint in model._meta.constraints:
        if isinstance(constraint, UniqueConstraint) and constraint.fields:
            columns = [_column(model, name) for name in constraint.fields]
            alike = [f"x.{column} = NEW.{column}" for column in columns]
            if constraint.condition:
                alike += [_sql(constraint.condition, model, row) for row in ("x", "NEW")]
            yield " AND ".join(alike)


def _column(model: type[Model], name: str) -> str:
    field = model._meta.get_field(name)
    assert isinstance(field, Field), f"{name} is a column"
    return str(field.column)


def _sql(condition: Q, model: type[Model], row: str) -> str:
    """A constraint's condition about the row of that name; it knows =, IN and NULL, which is all they use."""
    parts = []
    for child in condition.children:
        if isinstance(child, Q):
            parts.append(_sql(child, model, row))
            continue
        assert isinstance(child, tuple), "a lookup and its value"
        name, _, lookup = child[0].partition("__")
        column, value = f"{row}.{_column(model, name)}", child[1]
        if value is None or lookup == "isnull":
            parts.append(f"{column} IS {'NOT ' if value is False else ''}NULL")
        elif lookup == "in":
            parts.append(f"{column} IN ({', '.join(map(_literal, value))})")
        elif not lookup:
            parts.append(f"{column} = {_literal(value)}")
        else:
            raise ValueError(f"{model._meta.label}: no guard can be made of {child[0]}.")
    return f"{'NOT ' if condition.negated else ''}({f' {condition.connector} '.join(parts)})"


def _literal(value: object) -> str:
    return str(value).upper() if isinstance(value, bool) else f"'{value}'"


def one_at_a_time(name: str) -> None:
    """Until this transaction ends nobody else passes here with the same name; SQLite lets only one write anyhow."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [name])


@contextmanager
def held_by_this_session(name: str) -> Iterator[bool]:
    """Whether within the block this session alone has the name, also across transactions; it goes with the session.

    SQLite has one machine and one clock, and answers that it has.
    """
    if connection.vendor != "postgresql":
        yield True
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(hashtextextended(%s, 0))", [name])
        ours = bool(cursor.fetchone()[0])
    try:
        yield ours
    finally:
        if ours and connection.connection and not connection.connection.closed:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(hashtextextended(%s, 0))", [name])


_guards: dict[str, Guard] = {}


def register(*guards: Guard) -> None:
    """Add a room's guards, and that no table on which one stands is emptied; called from its AppConfig.ready."""
    emptied = [never_emptied(table) for table in sorted({guard.table for guard in guards})]
    _guards.update({guard.name: guard for guard in (*guards, *emptied)})


def never_emptied(table: str) -> Guard:
    """PostgreSQL empties a table by TRUNCATE without asking any guard of its rows."""
    return Guard(f"{table}_never_emptied", table, "TRUNCATE", message="A table of the books is never emptied.")


def registered() -> Mapping[str, Guard]:
    """Every guard that a room has registered, by its name."""
    return dict(_guards)


def _wanted(connection: BaseDatabaseWrapper) -> list[Guard]:
    on_sqlite = connection.vendor == "sqlite"
    return [guard for guard in _guards.values() if not (on_sqlite and guard.event == "TRUNCATE")]


def _installed(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """Trigger name to its table and its text as the database holds it."""
    query = (
        "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE %s"
        if connection.vendor == "sqlite"
        else "SELECT t.tgname, c.relname, p.prosrc FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
        " JOIN pg_proc p ON p.oid = t.tgfoid WHERE t.tgenabled <> 'D' AND t.tgname LIKE %s"
        " AND pg_table_is_visible(c.oid)"
    )
    with connection.cursor() as cursor:
        cursor.execute(query, [f"{PREFIX}%"])
        return {name: (table, text) for name, table, text in cursor.fetchall()}


def install(connection: BaseDatabaseWrapper) -> None:
    """Put every guard in place whose table exists. One that stands as it should is left alone: nobody waits for it."""
    tables, found = set(connection.introspection.table_names()), _installed(connection)
    wanted = {guard.trigger: guard for guard in _wanted(connection) if guard.table in tables}
    right = {name for name, guard in wanted.items() if found.get(name) == (guard.table, _text_of(connection, guard))}
    _drop(connection, {name: table for name, (table, _) in found.items() if name not in right})
    for name, guard in wanted.items():
        if name not in right:
            put(connection, guard)


def _text_of(connection: BaseDatabaseWrapper, guard: Guard) -> str:
    """The guard as the database holds it."""
    return guard.sqlite() if connection.vendor == "sqlite" else guard.postgresql_body()


def _drop(connection: BaseDatabaseWrapper, triggers: Mapping[str, str]) -> None:
    """Drop triggers, each with its table."""
    with connection.cursor() as cursor:
        for name, table in triggers.items():
            suffix = "" if connection.vendor == "sqlite" else f" ON {table}"
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{suffix}")


def put(connection: BaseDatabaseWrapper, guard: Guard) -> None:
    """Put one guard in place."""
    with connection.cursor() as cursor:
        cursor.execute(guard.sqlite() if connection.vendor == "sqlite" else guard.postgresql())


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take every guard away, in the transaction that puts them back; only to change tables or to empty them."""
    _drop(connection, {name: table for name, (table, _) in _installed(connection).items()})


@contextmanager
def lifted(connection: BaseDatabaseWrapper, *tables: str) -> Iterator[None]:
    """Lift the guards of these tables inside a transaction, which puts them back whether it comes to its end or not."""
    found = {name: table for name, (table, _) in _installed(connection).items() if table in tables}
    _let_nothing_wait(connection)
    _drop(connection, found)
    yield
    _let_nothing_wait(connection)
    for guard in _wanted(connection):
        if guard.trigger in found:
            put(connection, guard)


def _let_nothing_wait(connection: BaseDatabaseWrapper) -> None:
    """Have foreign keys checked now: PostgreSQL changes no trigger of a table of which some wait for the end."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED")


_lacking: list[str] = []


def look(connection: BaseDatabaseWrapper) -> list[str]:
    """The `faults` of a database that has tables, remembered for `are_lacking`."""
    has_tables = "ledger_posting" in connection.introspection.table_names()
    _lacking[:] = faults(connection) if has_tables else []
    return list(_lacking)


def are_lacking(connection: BaseDatabaseWrapper) -> bool:
    """Whether a guard lacked at the last look and still does; asks the database only where one did."""
    return bool(_lacking and look(connection))


def faults(connection: BaseDatabaseWrapper) -> list[str]:
    """One sentence for each guard that is missing or altered."""
    found = _installed(connection)
    sentences = []
    for guard in _wanted(connection):
        if guard.trigger not in found:
            sentences.append(f"The database guard {guard.name} on {guard.table} is missing; run migrate.")
        elif found[guard.trigger][1] != _text_of(connection, guard):
            sentences.append(f"The database guard {guard.name} on {guard.table} was altered; run migrate.")
    return sentences
