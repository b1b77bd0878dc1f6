"""Whoever reads is told of one moment, however many write meanwhile; and nobody waits for those who read."""

import io
import zipfile
from datetime import date

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.http import HttpResponse
from django.template import engines
from django.template.response import SimpleTemplateResponse
from django.test import RequestFactory

from clubdesk.fees.models import Receipt
from clubdesk.ledger import services
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear, JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.moment import one_moment
from clubdesk.money import as_amount
from clubdesk.reports.pack import write_pack
from clubdesk.reports.seal import Stamp, seal_of
from clubdesk.reports.verify import verify
from clubdesk.reports.workbook import workbook_bytes
from clubdesk.reports.workbook.book import write_stamped
from clubdesk.roll.models import Household
from clubdesk.screens.pages import at_one_moment
from tests import factories
from tests.beside import NOW, beside, receipt_of, receipts_between_questions
from tests.whole.addresses import urls_of_everything

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def family(book):
    return factories.HouseholdFactory()


def receipts():
    return Receipt.objects.count()


def test_what_somebody_commits_between_two_questions_of_one_moment_is_not_seen_in_it(family, by):
    with one_moment():
        before = receipts()
        beside(lambda: receipt_of(family, by))
        assert receipts() == before
        assert JournalEntry.objects.filter(source_type="fees.receipt").count() == before
    assert receipts() == before + 1


def test_without_it_the_second_question_sees_what_was_committed(family, by):
    before = receipts()
    beside(lambda: receipt_of(family, by))
    assert receipts() == before + 1


def test_nothing_is_written_at_one_moment_and_everything_afterwards(family, by):
    with pytest.raises(DatabaseError, match=r"readonly|read-only"), one_moment():
        factories.HouseholdFactory()
    receipt_of(family, by)
    assert receipts() == 1


def test_a_moment_in_which_something_fails_leaves_the_next_transaction_as_it_always_is(family, by):
    with pytest.raises(ZeroDivisionError, match="half way"), one_moment():
        receipts()
        raise ZeroDivisionError("half way")
    receipt_of(family, by)
    assert receipts() == 1
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT current_setting('transaction_isolation'), current_setting('transaction_read_only')")
            assert cursor.fetchone() == ("read committed", "off")
        else:
            assert connection.transaction_mode == "IMMEDIATE"


def test_a_moment_inside_a_moment_is_the_same_one(family, by):
    with one_moment():
        before = receipts()
        with one_moment():
            beside(lambda: receipt_of(family, by))
        assert receipts() == before


def test_a_moment_inside_a_verb_is_part_of_the_verb(family, by):
    with transaction.atomic():
        receipt_of(family, by)
        with one_moment():
            assert receipts() == 1
        receipt_of(family, by)
    assert receipts() == 2


def parts(content):
    """What a workbook holds, but for when it was made."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist() if name != "docProps/core.xml"}


@pytest.mark.world("season")
def test_a_workbook_made_while_receipts_come_in_is_that_of_the_moment_at_which_it_was_begun(season, by):
    year, family = FinancialYear.objects.get(), Household.objects.first()
    stamp = Stamp(NOW, seal_of(year), "the treasurer")
    quiet, disturbed = io.BytesIO(), io.BytesIO()
    write_stamped(year, quiet, stamp)
    with receipts_between_questions(family, by) as written:
        write_stamped(year, disturbed, stamp)
    assert len(written) > 3
    assert parts(disturbed.getvalue()) == parts(quiet.getvalue())


@pytest.mark.world("season")
def test_what_was_made_and_what_is_compared_while_receipts_come_in_is_genuine(season, by):
    year, family = FinancialYear.objects.get(), Household.objects.first()
    with receipts_between_questions(family, by) as written:
        content = workbook_bytes(year, made_on=NOW, made_by="the treasurer")
        found = verify(content)
        write_pack(year, io.BytesIO(), made_on=NOW, made_by="the treasurer")
    assert found.faults == []
    assert len(written) > 10


@pytest.mark.world("season")
def test_the_books_are_clean_while_receipts_come_in(season, by):
    with receipts_between_questions(Household.objects.first(), by) as written:
        results = check_all()
    assert len(written) > 10
    assert [result for result in results if result.faults] == []


@pytest.mark.world("season")
@pytest.mark.parametrize("command", ["check_books", "trial_balance", "treasurer_export", "verify_export"])
def test_a_command_that_only_asks_is_of_one_moment(command, season, by, tmp_path, capsys):
    file, year = str(tmp_path / "made.xlsx"), FinancialYear.objects.get()
    (tmp_path / "made.xlsx").write_bytes(workbook_bytes(year, made_on=NOW, made_by="the treasurer"))
    options = {"treasurer_export": ["2027", "--output", file], "verify_export": [file]}
    with receipts_between_questions(Household.objects.first(), by):
        call_command(command, *options.get(command, []))
    assert capsys.readouterr().err == ""


def test_a_page_is_drawn_to_its_last_line_at_the_moment_of_its_first(family, by):
    drawn = engines["django"].from_string("{{ first }} {{ counted }}")

    def view(request):
        first = receipts()
        beside(lambda: receipt_of(family, by))
        return SimpleTemplateResponse(drawn, {"first": first, "counted": receipts})

    assert at_one_moment(view)(RequestFactory().get("/")).content == b"0 0"


def test_a_page_that_is_sent_something_may_write(family, by):
    def view(request):
        return HttpResponse(str(receipt_of(family, by).number))

    assert at_one_moment(view)(RequestFactory().post("/")).status_code == 200
    assert receipts() == 1


@pytest.mark.either
@pytest.mark.world("season")
def test_no_page_writes_anything_when_it_is_looked_at(client, season, keeper):
    client.force_login(keeper)
    answers = {url: client.get(url).status_code for url in urls_of_everything(client)}
    assert {url: status for url, status in answers.items() if status >= 500} == {}
    assert len(answers) > 150


def test_a_year_is_closed_by_a_verb_that_checks_the_books_in_its_own_transaction(book, by):
    lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    services.record_journal(on=NOW, narration="Raffle", lines=lines, by=by)
    with transaction.atomic():
        services.lock_book()
        assert [result for result in check_all() if result.faults] == []
        services.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
    assert FinancialYear.objects.get().locked_through == date(2026, 7, 31)
