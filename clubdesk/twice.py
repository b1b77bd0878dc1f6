"""Figures that SQLite holds twice, in their row and in an index, so that its own check sees where one was spoilt.

SQLite stores no checksum of a row: where the disk changes a byte of an amount, the file stays well formed and the row
says another amount. `PRAGMA integrity_check` looks up each row in each index, and no single spoilt byte changes both.
What the chain of digests covers needs no index; PostgreSQL has checksums of its own. No question is answered from these
indexes: their condition, which every row meets, is one that no question states.
"""

from collections.abc import Iterator

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import CharField, Field, Model, TextField

PREFIX = "twice_"
COVERED = frozenset(
    {"ledger_journalentry", "ledger_posting", "ledger_book", "ledger_monthbalance", "reports_monthtrace"}
)
"""Tables whose rows the chain of digests covers, or which `check_books` reckons again from those."""
NO_FIGURES = frozenset({"admin", "contenttypes", "sessions"})


def columns_of(model: type[Model]) -> list[str]:
    """The columns of the model's table that hold a figure, a day or a choice and stand in no index of their own."""
    if model._meta.app_label in NO_FIGURES or model._meta.db_table in COVERED or not model._meta.managed:
        return []
    return [str(field.column) for field in model._meta.concrete_fields if _is_figure(field)]


def _is_figure(field: "Field[object, object]") -> bool:
    words = isinstance(field, TextField | CharField) and not field.choices
    return not (words or field.primary_key or field.unique or getattr(field, "db_index", False))


def _wanted(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """The name of each index and its text, of the tables and columns that the migrations have made so far."""
    found, there = {}, _columns_there(connection)
    for model in apps.get_models(include_auto_created=True):
        table, pk = model._meta.db_table, model._meta.pk.column
        if columns := [column for column in columns_of(model) if (table, column) in there]:
            listed = ", ".join(f'"{column}"' for column in columns)
            found[PREFIX + table] = (
                f'CREATE INDEX "{PREFIX}{table}" ON "{table}" ({listed}) WHERE typeof("{pk}") = \'integer\''
            )
    return found


def _columns_there(connection: BaseDatabaseWrapper) -> set[tuple[str, str]]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT t.name, c.name FROM sqlite_master t, pragma_table_info(t.name) c WHERE t.type = 'table'")
        return set(cursor.fetchall())


def _installed(connection: BaseDatabaseWrapper) -> dict[str, str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'index' AND name LIKE %s", [f"{PREFIX}%"])
        return dict(cursor.fetchall())


def install(connection: BaseDatabaseWrapper) -> None:
    """Make each index that lacks or is of other columns; only on SQLite."""
    if connection.vendor != "sqlite":
        return
    found, wanted = _installed(connection), _wanted(connection)
    with connection.cursor() as cursor:
        for name, text in found.items():
            if wanted.get(name) != text:
                cursor.execute(f'DROP INDEX "{name}"')
        for name, text in wanted.items():
            if found.get(name) != text:
                cursor.execute(text)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take all of them away; before tables are changed, since no column leaves a table while an index names it."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            for name in _installed(connection):
                cursor.execute(f'DROP INDEX "{name}"')


def faults(connection: BaseDatabaseWrapper) -> Iterator[str]:
    """A sentence for each table whose figures are not held twice."""
    if connection.vendor == "sqlite":
        found = _installed(connection)
        for name, text in _wanted(connection).items():
            if found.get(name) != text:
                yield f"The figures of {name.removeprefix(PREFIX)} are not held twice; run migrate."
