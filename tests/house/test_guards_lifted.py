"""While the database lacks guards nothing is posted or written, and it is said; what was spoilt is mended."""

import os
import subprocess
import sys
import threading
from datetime import date

import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections, transaction
from django.db.models.signals import pre_migrate

from clubdesk import guards
from clubdesk.desk import demo
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Book, Fund, JournalEntry, MonthBalance, Posting, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.middleware import look_at_guards
from clubdesk.money import as_amount
from clubdesk.reports.models import MonthTrace
from tests.beside import beside

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
LIFTED = "The guards of the database are lifted, so nothing is posted"


def raffle(by, on=NOW):
    lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    return ledger.record_journal(on=on, narration="Raffle", lines=lines, by=by)


def drop(name):
    suffix = "" if connection.vendor == "sqlite" else f" ON {guards.registered()[name].table}"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER guard_{name}{suffix}")


def faults():
    return [fault for result in check_all() for fault in result.faults]


def everything_entered():
    return list(JournalEntry.objects.order_by("pk").values()), list(Posting.objects.order_by("pk").values())


class TestPosting:
    def test_nothing_is_posted_while_the_guards_are_lifted(self, by):
        guards.remove(connection)
        with pytest.raises(Refused, match=LIFTED):
            raffle(by)
        assert JournalEntry.objects.count() == 0

    def test_nothing_is_posted_where_only_the_guard_of_the_books_head_lacks(self, by):
        raffle(by)
        drop("entry_becomes_the_last")
        with pytest.raises(Refused, match=LIFTED):
            raffle(by)
        guards.install(connection)
        raffle(by)
        assert Book.objects.get().last_number == 2
        assert faults() == []


class TestMigrating:
    @pytest.mark.django_db(transaction=True)
    def test_whoever_posts_while_tables_are_remade_waits_and_finds_the_guards(self, by):
        """The migration pauses with its guards lifted; the post that comes then is done after it."""
        call_command("migrate", "yearend", "zero", verbosity=0)
        posted = threading.Event()

        def post():
            try:
                raffle(by)
            finally:
                posted.set()
                connections.close_all()

        somebody = threading.Thread(target=post)

        def pause(plan, **kwargs):
            assert len(guards.faults(connection)) > 200
            somebody.start()
            assert not posted.wait(1)

        desk = apps.get_app_config("desk")
        pre_migrate.connect(pause, sender=desk, dispatch_uid="pause")
        try:
            call_command("migrate", verbosity=0)
        finally:
            pre_migrate.disconnect(sender=desk, dispatch_uid="pause")
        somebody.join()
        assert JournalEntry.objects.get().number == Book.objects.get().last_number == 1
        assert guards.faults(connection) == []
        assert faults() == []

    @pytest.mark.django_db(transaction=True)
    def test_a_migration_that_fails_leaves_tables_and_guards_as_they_were(self, by, monkeypatch):
        def fails(*args, **kwargs):
            raise RuntimeError("Struck by lightning.")

        monkeypatch.setattr(guards, "install", fails)
        with pytest.raises(RuntimeError, match="lightning"):
            call_command("migrate", "yearend", "zero", verbosity=0)
        monkeypatch.undo()
        assert "yearend_equipment" in connection.introspection.table_names()
        assert guards.faults(connection) == []
        raffle(by)

    def test_guards_that_stand_are_left_alone(self, book, monkeypatch):
        put = []
        monkeypatch.setattr(guards, "put", lambda connection, guard: put.append(guard.name))
        drop("posting_keeps")
        guards.install(connection)
        assert put == ["posting_keeps"]

    @pytest.mark.world("season")
    @pytest.mark.django_db(transaction=True)
    def test_a_demo_that_is_emptied_is_guarded_again(self, monkeypatch):
        seen = []
        monkeypatch.setattr(demo, "call_command", lambda *args, **options: seen.append(connection.in_atomic_block))
        demo.empty()
        monkeypatch.undo()
        guards.install(connection)
        demo.empty()
        assert seen == [True]
        assert JournalEntry.objects.count() == 0
        assert guards.faults(connection) == []

    @pytest.mark.django_db(transaction=True)
    def test_foreign_keys_are_held_again_after_it(self, book):
        call_command("migrate", verbosity=0)
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                assert cursor.execute("PRAGMA foreign_keys").fetchone() == (1,)
        assert connection.get_autocommit()


@pytest.fixture
def server_started(caplog):
    """Starts the server, and gives what it says in its log."""

    def start():
        caplog.clear()
        look_at_guards()
        return [record.getMessage() for record in caplog.records]

    yield start
    guards.install(connection)
    guards.look(connection)


class TestServing:
    def test_a_server_that_starts_on_a_whole_book_says_nothing(self, book, server_started):
        assert server_started() == []

    def test_a_server_that_starts_without_a_guard_says_so_and_lets_nobody_write_until_it_is_back(
        self, client, treasurer, server_started
    ):
        client.force_login(treasurer)
        drop("posting_keeps")
        assert server_started() == [
            "The database guard posting_keeps on ledger_posting is missing; run migrate.",
            "Nothing can be written on this site until they are back.",
        ]
        answer = client.post("/ledger/journal/add/", {"narration": "Raffle"})
        assert answer.status_code == 503
        assert "nothing was saved" in answer.content.decode()
        assert client.get("/reports/trial-balance/").status_code == 200
        guards.install(connection)
        assert client.post("/ledger/journal/add/", {"narration": "Raffle"}).status_code == 422  # it lacks its lines

    def test_signing_in_and_out_goes_on(self, client, treasurer, server_started):
        drop("posting_keeps")
        server_started()
        assert client.post("/login/", {"login": "nobody", "password": "x"}).status_code == 200
        client.force_login(treasurer)
        assert client.post("/logout/").status_code == 302

    def test_a_database_without_tables_has_nothing_to_guard_yet(self, db, server_started, monkeypatch):
        monkeypatch.setattr(connection.introspection, "table_names", lambda *args: [])
        drop("posting_keeps")
        assert server_started() == []

    @pytest.mark.only_on("sqlite")
    @pytest.mark.django_db(transaction=True)
    def test_what_serves_the_site_looks_at_the_guards_as_it_is_loaded(self, book):
        drop("posting_keeps")
        where = {"DATABASE_URL": f"sqlite:///{connection.settings_dict['NAME']}", "DJANGO_SETTINGS_MODULE": ""}
        environment = {**os.environ, **where}
        del environment["DJANGO_SETTINGS_MODULE"]
        command = [sys.executable, "-c", "import clubdesk.wsgi"]
        done = subprocess.run(
            command, cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, check=True
        )
        assert "posting_keeps on ledger_posting is missing" in done.stderr


@pytest.fixture
def spoilt(by):
    """Lets somebody past the guards, and gives what they left."""
    raffle(by, on=date(2026, 7, 6))
    raffle(by, on=date(2026, 8, 6))
    for month_end in (date(2026, 7, 31), date(2026, 8, 31)):
        ledger.lock_month(month_end=month_end, reason="a test", by=by)
    entered = everything_entered()

    def spoil(*statements):
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            guards.remove(connection)
            for statement in statements:
                cursor.execute(statement)
        guards.install(connection)
        assert faults()

    yield spoil
    assert everything_entered() == entered


class TestMending:
    @pytest.mark.parametrize(
        ("statement", "said"),
        [
            (
                "UPDATE ledger_book SET last_number = 1, last_digest = 'other'",
                ["The book’s last entry was kept as 1; it is 2."],
            ),
            (
                "UPDATE ledger_fund SET balance = 0 WHERE code = 'general'",
                ["General fund was kept at $0.00; its entries make $10.00."],
            ),
            (
                "UPDATE ledger_monthbalance SET balance = balance + 1 WHERE month_end = '2026-07-31'",
                ["The balances stored for July 2026 were put right."],
            ),
            (
                "DELETE FROM ledger_monthbalance WHERE month_end = '2026-07-31'",
                ["The balances stored for July 2026 were put right."],
            ),
            (
                "UPDATE ledger_monthbalance SET month_end = '2026-09-30' WHERE month_end = '2026-08-31'",
                [
                    "Balances stored for September 2026, which is not locked, were taken away.",
                    "The balances stored for August 2026 were put right.",
                ],
            ),
            (
                "UPDATE ledger_monthbalance SET month_end = '2026-06-30' WHERE month_end = '2026-07-31'",
                [
                    "Balances stored for June 2026, which is not locked, were taken away.",
                    "The balances stored for July 2026 were put right.",
                ],
            ),
            (
                "UPDATE reports_monthtrace SET amount = amount + 1 WHERE month_end = '2026-07-31'",
                ["What is stored of cash by line for July 2026 was put right."],
            ),
        ],
    )
    def test_what_is_stored_is_put_right_from_the_entries_and_said(self, spoilt, statement, said, capsys):
        spoilt(statement)
        call_command("mend_books", dry_run=True)
        assert capsys.readouterr().out.splitlines() == [*said, "Nothing was saved."]
        assert faults()
        call_command("mend_books")
        assert capsys.readouterr().out.splitlines() == said
        assert faults() == []
        assert guards.faults(connection) == []

    def test_a_sound_book_is_left_as_it_is(self, by, capsys):
        raffle(by)
        stored = [list(model.objects.values()) for model in (Book, Fund, MonthBalance, MonthTrace)]
        call_command("mend_books")
        assert capsys.readouterr().out == "Everything stored is what the entries say; nothing was changed.\n"
        assert [list(model.objects.values()) for model in (Book, Fund, MonthBalance, MonthTrace)] == stored

    def test_what_is_stored_of_a_closed_year_is_put_right_as_well(self, spoilt):
        spoilt(
            "UPDATE ledger_financialyear SET locked_through = last_day, closed_at = '2027-07-01', closed_by_id = 1",
            "UPDATE ledger_monthbalance SET balance = balance + 1",
        )
        ledger.mend_books(by=Book.objects.get() and JournalEntry.objects.first().posted_by)
        assert [fault for fault in faults() if "stored" in fault] == []

    def test_what_is_wrong_with_an_entry_stays_and_is_still_said(self, by):
        raffle(by)
        guards.remove(connection)
        JournalEntry.objects.update(narration="Another")
        guards.install(connection)
        assert ledger.mend_books(by=by) == []
        assert faults() == ["The chain breaks at entry 1: its content is not what was sealed."]

    def test_nothing_is_mended_while_a_guard_lacks(self, by):
        drop("posting_keeps")
        with pytest.raises(Refused, match="run migrate first"):
            ledger.mend_books(by=by)

    def test_after_an_entry_that_the_head_never_heard_of_posting_goes_on(self, by):
        raffle(by)
        guards.remove(connection)
        with connection.cursor() as cursor:
            cursor.execute("UPDATE ledger_book SET last_number = 0, last_digest = 'other'")
        guards.install(connection)
        with pytest.raises(Exception, match="unique|UNIQUE|stands already"), transaction.atomic():
            raffle(by)
        ledger.mend_books(by=by)
        raffle(by)
        assert Book.objects.get().last_number == 2
        assert faults() == []


@pytest.mark.django_db(transaction=True)
def test_whoever_posts_while_figures_are_mended_waits(by):
    raffle(by)
    with transaction.atomic():
        ledger.mend_books(by=by)
    beside(lambda: raffle(by))
    assert Book.objects.get().last_number == 2
