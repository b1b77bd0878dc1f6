"""The tables are what the models say, whatever the currency; guards are lifted for a migration and stand after it."""

from datetime import date

import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from clubdesk import guards
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from tests.house import carried, landed


@pytest.mark.django_db
@pytest.mark.parametrize("currency", ["AUD", "NZD"])
def test_no_model_waits_for_a_migration_whatever_the_currency(monkeypatch, capsys, currency):
    monkeypatch.setattr(settings, "CLUB_CURRENCY", currency)
    call_command("makemigrations", dry_run=True)
    assert capsys.readouterr().out == "No changes detected\n"


@pytest.mark.django_db(transaction=True)
def test_guards_are_lifted_around_a_migration_and_stand_after_it(by):
    lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    ledger.record_journal(on=date(2026, 9, 12), narration="Raffle", lines=lines, by=by)
    try:
        call_command("migrate", "yearend", "zero", verbosity=0)
        missing = guards.faults(connection)
        assert missing
        assert all("yearend_" in fault and "is missing" in fault for fault in missing)
    finally:
        call_command("migrate", verbosity=0)
    assert guards.faults(connection) == []
    assert JournalEntry.objects.get().narration == "Raffle"
    assert [result for result in check_all() if result.faults] == []


def tables_of_the_house():
    """The columns and constraints of every table of ours, whatever their order."""
    found = {}
    with connection.cursor() as cursor:
        for model in apps.get_models(include_auto_created=True):
            if model.__module__.startswith("clubdesk."):
                table = model._meta.db_table
                columns = connection.introspection.get_table_description(cursor, table)
                found[table] = (
                    sorted((column.name, column.type_code, column.null_ok, column.default) for column in columns),
                    sorted(map(repr, connection.introspection.get_constraints(cursor, table).values())),
                )
    return found


def drop_every_table():
    connection.disable_constraint_checking()
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cascade = " CASCADE" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TABLE {connection.ops.quote_name(table)}{cascade}")
    connection.enable_constraint_checking()


def test_a_migration_that_has_landed_is_never_edited():
    assert [line for line in landed.landed() if line not in landed.digests()] == []


def test_every_migration_stands_in_the_list_of_those_that_landed():
    assert [line for line in landed.digests() if line not in landed.landed()] == []


@pytest.mark.world("empty")
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("path", sorted(carried.BOOKS.glob("*.json.gz")), ids=lambda path: path.name)
def test_a_book_of_an_earlier_version_is_carried_forward_and_holds(path, settings):
    """By every migration, from nothing to what was then, and from there with the book in it to now. The tables that
    come of it are those that an empty database gets at once.
    """
    made_at_once = tables_of_the_house()
    drop_every_table()
    book = carried.read(path)
    last_then = dict(sorted(book["migrations"]))
    executor = MigrationExecutor(connection)
    executor.migrate([(app, last_then[app]) for app, _ in executor.loader.graph.leaf_nodes() if app in last_then])
    carried.load(book)
    call_command("migrate", verbosity=0)
    assert tables_of_the_house() == made_at_once
    assert guards.faults(connection) == []
    faults = [fault for result in check_all() for fault in result.faults]
    assert [fault for fault in faults if "is missing" not in fault] == []  # uploaded files are not part of the rows
    assert JournalEntry.objects.count() > 50


def test_there_is_a_book_of_this_version():
    assert list(carried.BOOKS.glob("*.json.gz"))
