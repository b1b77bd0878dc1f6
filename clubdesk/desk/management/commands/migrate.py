"""`migrate`, which makes all tables of an empty database at once.

Django replays the migrations operation by operation and draws the models anew for each, in a time that grows with the
square of their number; the tables come out the same. What an empty book must hold is made by `start_books`, never by a
migration.
"""

from typing import Any

from django.core.management.commands import migrate
from django.db import connections
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


class Command(migrate.Command):
    why_no_verb = "It makes the tables that verbs write in."

    def handle(self, *args: Any, **options: Any) -> None:
        connection = connections[options["database"]]
        if not any(options[each] for each in ASKED) and not connection.introspection.table_names():
            make_tables(connection)
        super().handle(*args, **options)
