"""Rules that the database itself keeps, as triggers written once and installed on SQLite and PostgreSQL.

Django remakes an SQLite table in most migrations and its triggers vanish with it, so they are all installed
again after every `migrate`; a system check and `check_books` report one that is missing or altered.
"""

from dataclasses import dataclass

from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

PREFIX = "guard_"


@dataclass(frozen=True)
class Guard:
    """A trigger: refuses a row `when` a condition holds, or `does` a statement after it.

    `event` is INSERT, UPDATE, DELETE or (PostgreSQL only) TRUNCATE; `when` and `does` are SQL that both
    databases read, with OLD and NEW as in any trigger; `message` is what the refused program is told.
    """

    name: str
    table: str
    event: str
    when: str = ""
    message: str = ""
    does: str = ""

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


def kept(table: str, noun: str, *columns: str) -> list[Guard]:
    """Guards that a document's row is never deleted or replaced and its `columns`, which the ledger follows, stay.

    SQLite's INSERT OR REPLACE deletes without asking the guard against deletion; hence the third.
    """
    changed = " OR ".join(
        f"NEW.{column} <> OLD.{column} OR (NEW.{column} IS NULL) <> (OLD.{column} IS NULL)" for column in columns
    )
    return [
        Guard(f"{table}_keeps", table, "UPDATE", when=changed, message=f"A {noun} keeps what the ledger says of it."),
        Guard(f"{table}_stays", table, "DELETE", message=f"A {noun} is never deleted."),
        replaces_nothing(table, noun, "id", "key"),
    ]


def replaces_nothing(table: str, noun: str, *unique: str) -> Guard:
    """A guard that no new row takes the place of one that stands, found by any of its `unique` columns."""
    same = " OR ".join(f"x.{column} = NEW.{column}" for column in unique)
    return Guard(
        f"{table}_replaces_nothing",
        table,
        "INSERT",
        when=f"EXISTS (SELECT 1 FROM {table} x WHERE {same})",
        message=f"This {noun} stands already; it is never replaced.",
    )


def one_at_a_time(name: str) -> None:
    """Until this transaction ends nobody else passes here with the same name; SQLite lets only one write anyhow."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [name])


_guards: dict[str, Guard] = {}


def register(*guards: Guard) -> None:
    """Add a room's guards; called from its AppConfig.ready."""
    _guards.update({guard.name: guard for guard in guards})


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
    """Put every guard in place whose table exists, replacing what stood there."""
    remove(connection)
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for guard in _wanted(connection):
            if guard.table in tables:
                cursor.execute(guard.sqlite() if connection.vendor == "sqlite" else guard.postgresql())


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take every guard away; only for emptying a demo or a test database."""
    found = _installed(connection)
    with connection.cursor() as cursor:
        for name, (table, _) in found.items():
            suffix = "" if connection.vendor == "sqlite" else f" ON {table}"
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{suffix}")


def faults(connection: BaseDatabaseWrapper) -> list[str]:
    """One sentence for each guard that is missing or altered."""
    found = _installed(connection)
    sentences = []
    for guard in _wanted(connection):
        expected = guard.sqlite() if connection.vendor == "sqlite" else guard.postgresql_body()
        if guard.trigger not in found:
            sentences.append(f"The database guard {guard.name} on {guard.table} is missing; run migrate.")
        elif found[guard.trigger][1] != expected:
            sentences.append(f"The database guard {guard.name} on {guard.table} was altered; run migrate.")
    return sentences
