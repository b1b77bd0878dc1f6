"""check_books against books that somebody changed behind Django's back."""

import io
import json
import sqlite3
from datetime import date

import pytest
from django.core.management import call_command
from django.db import connection

from clubdesk import guards
from clubdesk.desk import services as desk
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import invariants, services
from clubdesk.ledger.models import Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from tests import factories
from tests.house.breaking import FILE_WHOLE, GUARDS_STAND, WAYS
from tests.house.firing import run, without_checks

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


@pytest.fixture
def kept(book, by):
    """Books with a little of everything: a charge, a receipt, three journals, a locked month."""
    household = factories.HouseholdFactory()
    july = date(2026, 7, 6)
    for number in range(3):
        lines = [debit(Role.BANK, as_amount(10)), credit(Role.DONATIONS, as_amount(10))]
        services.record_journal(on=july, narration=f"Raffle {number}", lines=lines, by=by)
    services.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
    fees.charge(household=household, price=factories.price(), on=NOW, starts_on=NOW, by=by)
    fees.record_receipt(household=household, amount=as_amount(126), method=Method.CASH, on=NOW, by=by)
    return book


def tampered(sql):
    """The faults that check_books names after `sql` was run with the guards lifted."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        guards.remove(connection)
        cursor.execute(sql)
    guards.install(connection)
    return faults()


def faults():
    return [fault for result in invariants.check_all() for fault in result.faults]


def test_sound_books_pass_and_say_so(kept, capsys):
    call_command("check_books", format="json")
    said = json.loads(capsys.readouterr().out)
    assert said["ok"]
    assert all(check["ok"] for check in said["checks"])
    assert len(said["checks"]) >= 20


def test_faults_go_to_standard_error_and_the_exit_status_is_1(kept, capsys):
    tampered("UPDATE ledger_posting SET amount = 1100 WHERE id = (SELECT MIN(id) FROM ledger_posting)")
    with pytest.raises(SystemExit) as stopped:
        call_command("check_books", format="json")
    assert stopped.value.code == 1
    said = capsys.readouterr()
    assert not json.loads(said.out)["ok"]
    assert "Entry 1 is out by $1.00 in General fund." in said.err


@pytest.mark.parametrize(
    ("sql", "fault"),
    [
        (
            "UPDATE ledger_journalentry SET narration = 'Raffle 9' WHERE number = 2",
            "The chain breaks at entry 2: its content is not what was sealed.",
        ),
        (
            "UPDATE ledger_posting SET amount = amount * 2 WHERE entry_id ="
            " (SELECT id FROM ledger_journalentry WHERE number = 3)",
            "The chain breaks at entry 3: its content is not what was sealed.",
        ),
        (
            "UPDATE ledger_journalentry SET previous_digest = 'x' WHERE number = 2",
            "The chain breaks at entry 2: it does not follow the entry before it.",
        ),
        ("UPDATE ledger_journalentry SET number = 99 WHERE number = 4", "Entry 4 is missing; the next is 5."),
        (
            "UPDATE ledger_monthbalance SET balance = balance + 1",
            "The balances stored for July 2026 are not those of the postings: 1010 Bank, 4060 Donations",
        ),
        ("UPDATE ledger_fund SET balance = 100 WHERE code = 'general'", "General fund is kept at $1.00; its postings"),
        ("UPDATE ledger_journalentry SET source_id = 4711 WHERE number = 1", "The journal names a document that does"),
        ("UPDATE fees_receipt SET amount = 10000", "Fees owed, Family"),
        ("UPDATE fees_allocation SET amount = 20000", "is settled by $74.00 too much."),
        ("UPDATE fees_charge SET starts_on = '2026-12-01'", "Fees in advance, all: the ledger says $0.00"),
        ("UPDATE ledger_book SET last_number = 9", "The book says that its last entry is 9, which is not the last"),
        ("UPDATE ledger_journalentry SET sealed = FALSE WHERE number = 5", "Entry 5 was begun and never sealed."),
    ],
)  # fmt: skip
def test_a_change_behind_the_books_is_named(kept, sql, fault):
    assert any(fault in said for said in tampered(sql))


@pytest.mark.only_on("sqlite")
@pytest.mark.django_db(transaction=True)
def test_another_program_changing_the_file_is_caught(kept, capsys):
    file = sqlite3.connect(connection.settings_dict["NAME"])
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        file.execute("UPDATE ledger_posting SET amount = 999 WHERE amount = 1000")
    file.execute("DROP TRIGGER guard_posting_keeps")
    file.execute("UPDATE ledger_posting SET amount = 999 WHERE amount = 1000")
    file.execute("UPDATE ledger_posting SET amount = -999 WHERE amount = -1000")
    file.commit()
    file.close()
    with pytest.raises(SystemExit, match="1"):
        call_command("check_books")
    said = capsys.readouterr().err
    assert "The chain breaks at entry 1: its content is not what was sealed." in said
    assert "guard posting_keeps on ledger_posting is missing" in said


def fallen():
    """The invariants that do not hold, but for the guards, which are lifted in that world."""
    return {result.name for result in invariants.check_all() if result.faults} - {GUARDS_STAND}


@pytest.mark.world("unguarded")
def test_books_of_every_kind_of_document_hold_before_they_are_broken(db):
    assert fallen() == set()


@pytest.mark.world("unguarded")
@pytest.mark.parametrize("name", WAYS)
def test_books_changed_behind_the_back_are_named_under_what_they_break(name):
    tables = connection.introspection.table_names()
    assert WAYS[name]
    for way in WAYS[name]:
        statements = way if isinstance(way, tuple) else (way,)
        with without_checks(*(table for table in tables if any(table in each for each in statements))):
            for each in statements:
                run(each)
            assert invariants.check_one(name).faults, way


@pytest.mark.world("unguarded")
def test_guards_that_were_lifted_are_missed(db):
    missed = {result.name: result.faults for result in invariants.check_all()}[GUARDS_STAND]
    assert len(missed) == invariants.MOST_FAULTS + 1


def test_every_invariant_is_seen_to_fall():
    assert [FILE_WHOLE, GUARDS_STAND, *WAYS] == invariants.registered()


def test_a_missing_or_altered_guard_is_named_until_migrate_puts_it_back(kept):
    with connection.cursor() as cursor:
        suffix = "" if connection.vendor == "sqlite" else " ON ledger_posting"
        cursor.execute(f"DROP TRIGGER guard_posting_keeps{suffix}")
    assert faults() == ["The database guard posting_keeps on ledger_posting is missing; run migrate."]
    call_command("migrate", verbosity=0)
    assert faults() == []


def test_django_reports_a_missing_guard_as_a_system_check(kept, capsys):
    with connection.cursor() as cursor:
        suffix = "" if connection.vendor == "sqlite" else " ON ledger_posting"
        cursor.execute(f"DROP TRIGGER guard_posting_stays{suffix}")
    call_command("check", databases=["default"])
    assert "posting_stays" in capsys.readouterr().err
    guards.install(connection)


def test_nightly_run_twice_changes_nothing(kept, by):
    cohort = factories.cohort(first=date(2026, 10, 4))
    from clubdesk.courses.services import book_place

    book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=NOW)
    first = desk.nightly(on=date(2026, 10, 4), by=by)
    again = desk.nightly(on=date(2026, 10, 4), by=by)
    income = [night.counts["fees became income"] for night in (first, again)]
    assert income == [1, 0]
    assert faults() == []


@pytest.mark.world("one_of_each")
@pytest.mark.parametrize("model", invariants.document_models(), ids=lambda model: model.__name__)
def test_what_says_which_entries_a_document_calls_for_is_read_at_once(model, db, django_assert_num_queries):
    columns = model.entries_follow_from
    whole = list(model._base_manager.order_by("pk"))
    with django_assert_num_queries(1):
        rows = model._base_manager.order_by("pk")
        found = [row.entries_called_for for row in (rows if columns is None else rows.only("pk", *columns))]
    assert found == [row.entries_called_for for row in whole]


def test_on_a_terminal_the_check_that_runs_is_shown_and_wiped_out(kept):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    said, terminal = io.StringIO(), Terminal()
    call_command("check_books", stdout=said, stderr=terminal)
    shown = terminal.getvalue().split("\r")
    assert [line.strip() for line in shown if line.strip()] == [name[:79].strip() for name in invariants.registered()]
    assert shown[-2] == " " * 79
    assert said.getvalue().splitlines() == [f"ok    {name}" for name in invariants.registered()]


def test_where_nobody_looks_no_progress_is_written(kept):
    said, elsewhere = io.StringIO(), io.StringIO()
    call_command("check_books", stdout=said, stderr=elsewhere)
    assert elsewhere.getvalue() == ""
