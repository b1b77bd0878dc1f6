"""`migrate`, which makes all tables of an empty database at once.

Django replays the migrations operation by operation and draws the models anew for each, in a time that grows with the
square of their number; the tables come out the same. What an empty book must hold is made by `start_books`, never by a
migration. All that is done is one transaction: while the guards are lifted nobody else writes, and whoever waited finds
them in place again.
"""

from typing import Any

from django.core.management.commands import migrate
from django.db import connections

from clubdesk.schema import all_or_nothing, make_tables

ASKED = ("app_label", "plan", "check_unapplied", "fake", "fake_initial", "prune")


class Command(migrate.Command):
    why_no_verb = "It makes the tables that verbs write in."

    def handle(self, *args: Any, **options: Any) -> None:
        connection = connections[options["database"]]
        with all_or_nothing(connection):
            if not any(options[each] for each in ASKED) and not connection.introspection.table_names():
                make_tables(connection)
            super().handle(*args, **options)
