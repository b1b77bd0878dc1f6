"""A program beside tables of another version says so, on every page and in every command; no column is “missing”."""

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.urls import reverse

from clubdesk import schema
from clubdesk.desk.site import VERSION
from clubdesk.middleware import look_at_guards

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def server_starts():
    yield look_at_guards
    schema._differs.clear()


@pytest.fixture
def an_earlier_book():
    call_command("migrate", "expenses", "0002", verbosity=0)


def test_a_site_with_tables_of_an_earlier_version_says_so_until_they_are_brought_forward(
    client, keeper, server_starts, an_earlier_book, caplog
):
    client.force_login(keeper)
    server_starts()
    assert schema.EARLIER in caplog.text
    for path in (reverse("admin:index"), reverse("admin:login"), "/book/"):
        answer = client.get(path)
        assert (answer.status_code, schema.EARLIER in answer.content.decode()) == (503, True)
    call_command("migrate", verbosity=0)
    assert client.get(reverse("admin:index")).status_code == 200


def test_a_site_with_tables_of_a_later_version_says_so(server_starts):
    MigrationRecorder(connection).record_applied("rangeday", "0999_of_next_year")
    server_starts()
    answer = Client().get("/book/")
    assert (answer.status_code, schema.LATER in answer.content.decode()) == (503, True)


def test_a_command_beside_earlier_tables_says_so(an_earlier_book, capsys, server_starts):
    with pytest.raises(SystemExit, match="1"):
        call_command("check_books")
    assert capsys.readouterr().err.strip() == schema.EARLIER


@pytest.mark.world("empty")
def test_an_empty_database_is_of_no_version(server_starts):
    for name in connection.introspection.table_names():
        with connection.cursor() as cursor:
            cursor.execute(f"DROP TABLE {name} {'CASCADE' if connection.vendor == 'postgresql' else ''}")
    assert schema.look(connection) == ""


def test_every_page_says_the_version_in_its_foot_and_so_do_the_commands(client, keeper, capsys):
    client.force_login(keeper)
    assert f"Fletchbook {VERSION}" in client.get(reverse("admin:index")).content.decode()
    with pytest.raises(SystemExit, match="0"):
        call_command("backup", "--version")
    assert capsys.readouterr().out.strip() == f"Fletchbook {VERSION}"
