"""A spoilt file of the book never says a wrong figure in silence, and whoever opens it reads a sentence."""

import os
import shutil
import sqlite3
import subprocess
import sys
from collections import Counter
from contextlib import closing

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse

from clubdesk import faults, guards, twice, upkeep
from clubdesk.ledger.invariants import check_all
from clubdesk.middleware import look_at_guards
from clubdesk.rangeday.models import SafetyText
from tests.chance import often
from tests.faults.spoiling import BUGS, WORLD, Outcome, run
from tests.worlds import keeping
from tests.worlds.day_one import KEEPER

pytestmark = [pytest.mark.only_on("sqlite")]
TIMES = often(15)


@pytest.mark.world(WORLD)
@pytest.mark.django_db(transaction=True)
def test_a_file_with_spoilt_bytes_says_so_or_every_figure_is_right(tmp_path):
    found = list(run(TIMES, tmp_path))
    assert [each for each in found if each[2] in BUGS] == []
    counts = Counter(outcome for _, _, outcome, _ in found)
    assert counts[Outcome.SQLITE]
    assert counts[Outcome.RIGHT]


@pytest.fixture
def opened(tmp_path):
    """Works in a file with this content; what a person sees of it is asked then."""

    def work_in(content):
        file = tmp_path / "book.sqlite3"
        file.write_bytes(content)
        keeping.use(str(file))

    yield work_in
    keeping.enter(WORLD)
    upkeep.look()
    guards.look(connection)


@pytest.mark.world(WORLD)
@pytest.mark.django_db(transaction=True)
class TestABookThatIsNone:
    """Its first bytes are gone, so SQLite calls it no database."""

    @pytest.fixture(autouse=True)
    def no_book(self, opened):
        opened(b"nothing here " * 1000)

    def test_a_page_says_so(self):
        answer = Client(raise_request_exception=False).get("/book/")
        assert answer.status_code == 500
        assert faults.DAMAGED in answer.content.decode()

    def test_commands_say_so_and_exit_with_1(self, capsys):
        for command in ("check_books", "trial_balance", "nightly", "mend_books"):
            with pytest.raises(SystemExit) as stopped:
                call_command(command)
            assert stopped.value.code == 1
            assert capsys.readouterr().err.strip() == faults.DAMAGED

    def test_the_start_of_a_server_says_so(self, caplog):
        look_at_guards()
        assert faults.DAMAGED in caplog.text

    def test_commands_of_django_say_so_too(self, tmp_path):
        environment = os.environ | {
            "DATABASE_URL": f"sqlite:///{tmp_path / 'book.sqlite3'}",
            "DJANGO_SETTINGS_MODULE": "tests.settings",
        }
        command = [sys.executable, "manage.py", "migrate"]
        here = settings.BASE_DIR
        done = subprocess.run(command, cwd=here, env=environment, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr.strip()) == (1, faults.DAMAGED)


def test_every_figure_and_day_stands_twice_or_is_covered_by_the_chain():
    once = set()
    for model in apps.get_models(include_auto_created=True):
        if model._meta.app_label not in twice.NO_FIGURES and model._meta.db_table not in twice.COVERED:
            indexed = set(twice.columns_of(model))
            for field in model._meta.concrete_fields:
                if not (field.column in indexed or field.db_index or field.unique or field.choices):
                    once.add(field.get_internal_type())
    assert once == {"CharField", "TextField"}


@pytest.mark.django_db
@pytest.mark.world(WORLD)
class TestFiguresHeldTwice:
    def test_no_question_is_answered_from_the_second(self):
        with connection.cursor() as cursor:
            cursor.execute("EXPLAIN QUERY PLAN SELECT SUM(amount) FROM fees_charge WHERE amount > 5 ORDER BY amount")
            assert twice.PREFIX not in str(cursor.fetchall())

    def test_one_that_lacks_is_a_fault_until_migrate(self):
        twice.remove(connection)
        assert "The figures of fees_charge are not held twice; run migrate." in list(twice.faults(connection))
        twice.install(connection)
        assert list(twice.faults(connection)) == []

    def test_one_of_other_columns_is_made_anew(self):
        with connection.cursor() as cursor:
            cursor.execute("DROP INDEX twice_fees_charge")
            cursor.execute("CREATE INDEX twice_fees_charge ON fees_charge (amount)")
        assert len(list(twice.faults(connection))) == 1
        twice.install(connection)
        assert list(twice.faults(connection)) == []


AMOUNT, OTHER = b"\x01\x23\x45\x67", b"\x01\x23\x45\x66"


@pytest.fixture
def budget(tmp_path):
    """The pieces of a book's file around the two places where the one month of its budget stands."""
    file = tmp_path / "whole.sqlite3"
    shutil.copyfile(keeping.databases.kept(WORLD), file)
    with closing(sqlite3.connect(file)) as book, book:
        book.execute("UPDATE yearend_budgetmonth SET amount = ?", [int.from_bytes(AMOUNT)])
    pieces = file.read_bytes().split(AMOUNT)
    assert len(pieces) == 3, "it stands in the row and in the index"
    return pieces


@pytest.mark.world(WORLD)
@pytest.mark.django_db(transaction=True)
class TestABudgetOfWhichTheDiskChangedAByte:
    @pytest.mark.parametrize("found_in", [(OTHER, AMOUNT), (AMOUNT, OTHER)], ids=["one place", "the other"])
    def test_check_books_sees_it(self, opened, budget, found_in):
        opened(budget[0] + found_in[0] + budget[1] + found_in[1] + budget[2])
        found = {result.name: result.faults for result in check_all() if result.faults}
        assert "twice_yearend_budgetmonth" in str(found["The database's file is whole"])

    def test_a_server_that_starts_says_it_on_each_page_and_writes_nothing(self, opened, budget, caplog):
        opened(budget[0] + OTHER + budget[1] + AMOUNT + budget[2])
        look_at_guards()
        assert faults.DAMAGED in caplog.text
        client = Client()
        client.force_login(User.objects.get(username=KEEPER))
        assert faults.DAMAGED in client.get("/").content.decode()
        answer = client.post(reverse("admin:rangeday_safetytext_add"), {"in_force_from": "2026-09-13", "text": "No."})
        assert (answer.status_code, faults.DAMAGED in answer.content.decode()) == (500, True)
        assert not SafetyText.objects.filter(text="No.").exists()
