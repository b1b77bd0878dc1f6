"""Tables: made in an empty database at once, and changed all or not at all."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager

from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import StateApps

Migrations = Collection[tuple[str, str]]


def make_tables(connection: BaseDatabaseWrapper, only: Migrations = ()) -> StateApps:
    """Make every table that the migrations come to in an empty database, and note each migration as done.

    Where `only` some are named, the tables are those of that time. Returns the models that they are tables of.
    """
    executor = MigrationExecutor(connection)
    done = sorted(only or executor.loader.graph.nodes)
    apps = executor.loader.project_state(done).apps
    with connection.schema_editor() as editor:
        for model in apps.get_models():
            if model._meta.app_label in executor.loader.migrated_apps:
                editor.create_model(model)
    executor.recorder.ensure_schema()
    for app, name in done:
        executor.recorder.record_applied(app, name)
    return apps


@contextmanager
def all_or_nothing(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """One transaction in which tables may be remade.

    SQLite looks away from foreign keys only outside a transaction, and Django checks them after each migration anyhow;
    PostgreSQL changes no table that has rows whose foreign keys wait to be checked.
    """
    connection.disable_constraint_checking()
    try:
        with transaction.atomic(using=connection.alias):
            _look_at_keys(connection, "IMMEDIATE")
            yield
    finally:
        connection.enable_constraint_checking()


@contextmanager
def in_any_order(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """Rows of many tables in any order, inside `all_or_nothing`: their foreign keys are looked at in the end."""
    _look_at_keys(connection, "DEFERRED")
    yield
    connection.check_constraints()
    _look_at_keys(connection, "IMMEDIATE")


def _look_at_keys(connection: BaseDatabaseWrapper, when: str) -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"SET CONSTRAINTS ALL {when}")


EARLIER = (
    "The tables of this book are of an earlier version than the program. Whoever keeps the site makes a backup "
    "with the earlier program, then runs “python manage.py migrate”."
)
LATER = (
    "The tables of this book are of a later version than the program. Whoever keeps the site brings the program up "
    "to date."
)
_differs: list[str] = []


def look(connection: BaseDatabaseWrapper) -> str:
    """That the tables are not of the program's version, in a sentence, or blank; remembered for `differs`."""
    loader = MigrationLoader(connection)
    done = set(loader.applied_migrations)
    later, earlier = done - set(loader.disk_migrations), set(loader.graph.nodes) - done
    _differs[:] = [LATER] if later else [EARLIER] if earlier and done else []
    return "".join(_differs)


def differs(connection: BaseDatabaseWrapper) -> str:
    """The sentence of the last look, if it still holds; asks the database only where there was one."""
    return look(connection) if _differs else ""
