"""`migrate`, which makes all tables of an empty database at once.

Django replays the migrations operation by operation and draws the models anew for each, in a time that grows with the
square of their number; the tables come out the same. What an empty book must hold is made by `start_books`, never by a
migration. All that is done is one transaction: while the guards are lifted nobody else writes, and whoever waited finds
them in place again.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management.commands import migrate
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor

ASKED = ("app_label", "plan", "check_unapplied", "fake", "fake_initial", "prune")


def make_tables(connection: BaseDatabaseWrapper) -> None:
    """Make every table that the migrations come to in an empty database, and note each migration as done."""
    executor = MigrationExecutor(connection)
    with connection.schema_editor() as editor:
        for model in executor.loader.project_state().apps.get_models():
            if model._meta.app_label in executor.loader.migrated_apps:
                editor.create_model(model)
    executor.recorder.ensure_schema()
    for app, name in executor.loader.graph.nodes:
        executor.recorder.record_applied(app, name)


@contextmanager
def all_or_nothing(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """One transaction in which tables may be remade.

    SQLite looks away from foreign keys only outside a transaction, and Django checks them after each migration anyhow;
    PostgreSQL changes no table that has rows whose foreign keys wait to be checked.
    """
    connection.disable_constraint_checking()
    try:
        with transaction.atomic(using=connection.alias):
            if connection.vendor == "postgresql":
                with connection.cursor() as cursor:
                    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            yield
    finally:
        connection.enable_constraint_checking()


class Command(migrate.Command):
    why_no_verb = "It makes the tables that verbs write in."

    def handle(self, *args: Any, **options: Any) -> None:
        connection = connections[options["database"]]
        with all_or_nothing(connection):
            if not any(options[each] for each in ASKED) and not connection.introspection.table_names():
                make_tables(connection)
            super().handle(*args, **options)
