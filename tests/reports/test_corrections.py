"""An error of an earlier year is put right on a line of its own, and the closed year stays as it was."""

from datetime import date
from itertools import pairwise
from unittest import mock

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, Journal, JournalEntry, Role
from clubdesk.ledger.posting import Line, credit, debit
from clubdesk.ledger.selectors import account
from clubdesk.money import as_amount
from clubdesk.reports import statements
from clubdesk.reports.selectors import Figures
from clubdesk.reports.verify import verify
from tests import factories
from tests.papers import words_of
from tests.reports import bridge

pytestmark = pytest.mark.django_db
JULY, LAST, NEXT = date(2026, 7, 1), date(2027, 6, 30), date(2027, 7, 1)
PROOF = Evidence(factories.pdf(), "application/pdf")


def rows_of(statement):
    return {row.label: list(row.figures) for row in statement.rows if row.figures}


@pytest.fixture
def closed(journal, by):
    """A year with a grant of 900 in which a repair of 40 was never written down."""
    journal((Role.BANK, 900), (Role.GRANTS, -900), on=JULY)
    with clock.on(date(2027, 8, 1)):
        ledger.open_year(first_day=NEXT, by=by)
        yield ledger.close_year(year=FinancialYear.objects.get(first_day=JULY), by=by, on=NEXT)


@pytest.fixture
def correct(closed, by):
    def corrected(which=Role.BANK, amount=40, is_debit=False, **more):
        wrong = account(which) if isinstance(which, Role) else which
        general = Fund.objects.get(pk=FundRole.GENERAL)
        return ledger.correct_earlier_year(
            **{
                "year": closed, "narration": "Repair of May, never written down", "account": wrong, "fund": general,
                "amount": as_amount(amount), "is_debit": is_debit, "on": NEXT, "by": by, "evidence": PROOF, **more,
            }
        )  # fmt: skip

    return corrected


def test_what_a_closed_year_did_not_explain_is_told_in_the_next_as_explained_since(journal, by):
    journal((Role.BANK, 37), (Role.SUSPENSE, -37), on=JULY)
    with clock.on(date(2027, 8, 1)):
        ledger.open_year(first_day=NEXT, by=by)
        closed = ledger.close_year(year=FinancialYear.objects.get(first_day=JULY), by=by, on=NEXT)
        journal((Role.SUSPENSE, 37), (Role.DONATIONS, -37), on=NEXT)
    before, now = (
        rows_of(statements.receipts_and_payments(Figures.of_year(year), None))
        for year in (closed, FinancialYear.objects.get(first_day=NEXT))
    )
    assert before["Not matched yet"][2] == 37
    assert now["Not matched yet, or matched since"][2] == now["Total payments"][2] == 37
    assert now["Donations and fundraising"][2] == now["Total receipts"][2] == 37
    assert bridge.gaps(NEXT, date(2028, 6, 30)) == []


def notes_of(year, fund=None):
    rows = statements.receipts_and_payments(Figures.of_year(year, fund), None).rows
    return {above.label: row.label for above, row in pairwise(rows) if row.kind == "note"}


class TestCorrectedSince:
    """The earlier year, printed again, says beside its figure what was put right since; the figure stays."""

    @pytest.fixture
    def year(self, journal, by):
        """Insurance of 300 was paid and written down as repairs, beside 37 that nobody could explain."""
        general = Fund.objects.get(pk=FundRole.GENERAL)
        repairs = Account.objects.get(code="5050")
        journal((Role.BANK, 900), (Role.GRANTS, -900), on=JULY)
        lines = [Line(repairs, as_amount(300), None, general), credit(Role.BANK, as_amount(300))]
        self.paid = ledger.record_journal(on=JULY, narration="Cover for sheds", lines=lines, by=by)
        journal((Role.BANK, 37), (Role.SUSPENSE, -37), on=JULY)
        with clock.on(date(2027, 8, 1)):
            ledger.open_year(first_day=NEXT, by=by)
            yield ledger.close_year(year=FinancialYear.objects.get(first_day=JULY), by=by, on=NEXT)

    def test_what_was_paid_for_something_is_told_where_a_journal_of_the_next_year_puts_it(
        self, year, by, client, treasurer
    ):
        before = rows_of(statements.receipts_and_payments(Figures.of_year(year), None))
        assert notes_of(year) == {}
        repairs, insurance = (Account.objects.get(code=code) for code in ("5050", "5070"))
        lines = [debit(insurance, as_amount(300)), credit(repairs, as_amount(300))]
        ledger.record_journal(on=NEXT, narration="It was insurance", lines=lines, by=by)
        number = JournalEntry.objects.latest("number").number
        assert notes_of(year) == {
            "Repairs": f"corrected since: $300.00 was for Insurance, by entry {number} of 1 Jul 2027"
        }
        assert rows_of(statements.receipts_and_payments(Figures.of_year(year), None)) == before
        client.force_login(treasurer)
        shown = {"since": JULY, "until": LAST, "basis": "cash"}
        assert "corrected since: $300.00" in client.get(reverse("admin:period_statements"), shown).content.decode()
        printed = words_of(client.get(reverse("admin:period_statements"), shown | {"pdf": 1}).content)
        assert "corrected since: $300.00 was for Insurance" in " ".join(printed.split())

    def test_a_paper_made_before_and_one_made_after_are_both_the_books_own(self, year, by, client, treasurer):
        client.force_login(treasurer)
        asked = {"since": JULY, "until": LAST, "basis": "cash", "pdf": 1}
        before = client.get(reverse("admin:period_statements"), asked).content
        repairs, insurance = (Account.objects.get(code=code) for code in ("5050", "5070"))
        lines = [debit(insurance, as_amount(300)), credit(repairs, as_amount(300))]
        ledger.record_journal(on=NEXT, narration="It was insurance", lines=lines, by=by)
        after = client.get(reverse("admin:period_statements"), asked).content
        assert ["corrected since" in words_of(each) for each in (before, after)] == [False, True]
        assert [(verify(each).faults, verify(each).notes) for each in (before, after)] == [([], []), ([], [])]

    def test_what_the_next_year_pays_itself_corrects_nothing_of_the_year_before(self, year, by):
        repairs, insurance = (Account.objects.get(code=code) for code in ("5050", "5070"))
        lines = [debit(repairs, as_amount(300)), credit(Role.BANK, as_amount(300))]
        ledger.record_journal(on=NEXT, narration="Sheds again", lines=lines, by=by)
        lines = [debit(insurance, as_amount(300)), credit(repairs, as_amount(300))]
        ledger.record_journal(on=NEXT, narration="It was insurance", lines=lines, by=by)
        assert notes_of(year) == {}

    def test_what_was_not_explained_and_a_journal_that_was_reversed(self, year, journal, by):
        journal((Role.SUSPENSE, 37), (Role.DONATIONS, -37), on=NEXT)
        assert notes_of(year)["Not matched yet"].startswith(
            "corrected since: $37.00 was for Donations and fundraising, by entry"
        )
        ledger.reverse_journal(journal=self.paid, on=NEXT, reason="never paid", by=by)
        assert notes_of(year)["Repairs"].startswith("corrected since: $300.00 was undone, by entry")

    def test_an_error_that_names_the_year_stands_at_the_foot(self, closed, correct):
        correct()
        (note,) = notes_of(closed).values()
        assert note.startswith("corrected since: Repair of May, never written down, −$40.00, by entry")
        assert list(notes_of(closed)) == ["Money in hand on 30 Jun 2027"]
        correct(Role.EQUIPMENT, is_debit=True)
        assert len(notes_of(closed)) == 1, "equipment was no money"


class TestAnErrorOfAnEarlierYear:
    @pytest.mark.parametrize(("which", "is_debit", "as_money"), [
        (Role.BANK, False, -40), (Role.OTHER_PAYABLES, False, 0), (Role.EQUIPMENT, True, 0),
    ])  # fmt: skip
    def test_it_stands_on_a_line_of_its_own_in_both_statements_and_in_the_fund(
        self, correct, which, is_debit, as_money
    ):
        payable = Role.OTHER_PAYABLES
        correct(which, is_debit=is_debit, party=factories.association() if which == payable else None)
        now, amount = Figures.of_year(FinancialYear.objects.get(first_day=NEXT)), 40 if is_debit else -40
        income = rows_of(statements.income_and_expenditure(now, None))
        money = rows_of(statements.receipts_and_payments(now, None))
        funds = rows_of(statements.movement_of_funds(now))
        assert income["Surplus (deficit)"][2] == 0
        assert income["Correction of earlier years"][2] == income["Surplus (deficit) and corrections"][2] == amount
        assert money.get("Correction of earlier years", [0, 0, 0])[2] == -as_money, "a payment"
        assert funds["General fund"] == [900, 0, amount, 0, 900 + amount]
        assert bridge.gaps(NEXT, date(2028, 6, 30)) == []
        assert {result.name: result.faults for result in check_all() if result.faults} == {}

    def test_the_closed_year_stays_as_it_was_printed(self, closed, correct):
        before = [rows_of(each) for each in statements.of_basis("accrual", Figures.of_year(closed))]
        correct()
        assert [rows_of(each) for each in statements.of_basis("accrual", Figures.of_year(closed))] == before

    def test_an_open_year_and_accumulated_funds_themselves_are_refused(self, correct):
        year = FinancialYear.objects.get(first_day=NEXT)
        with pytest.raises(Refused, match="is still open: undo what is wrong in it"):
            correct(year=year)
        with pytest.raises(Refused, match="takes the other side by itself"):
            correct(Role.ACCUMULATED)

    def test_the_page_asks_what_was_wrong_in_which_year_with_a_document(self, client, treasurer, closed):
        client.force_login(treasurer)
        url = reverse("admin:ledger_journal_correction")
        page = client.get(url)
        sent = {
            "key": str(page.context["form"]["key"].value()), "year": closed.pk, "narration": "Repair of May",
            "account": Account.objects.get(role=Role.BANK).pk, "is_debit": "no", "amount": "40.00", "fund": "general",
            "on": "2027-07-01",
        }  # fmt: skip
        assert "Choose a file." in client.post(url, sent).content.decode()
        file = SimpleUploadedFile("bill.pdf", factories.pdf(), "application/pdf")
        answer = client.post(url, sent | {"evidence": file}, follow=True)
        assert "Posted: Repair of May." in answer.content.decode()
        assert Journal.objects.get(origin="correction").corrects_year == closed


class TestAccumulatedFundsBehindThePage:
    """A journal by hand against Accumulated funds would tell neither the year nor what was wrong."""

    LINES = (debit(Role.BANK, as_amount(40)), credit(Role.ACCUMULATED, as_amount(40)))

    def test_once_a_year_is_closed_it_is_refused_in_words_that_name_the_page(self, closed, by):
        with pytest.raises(Refused, match="on the page “An error of an earlier year”"):
            ledger.record_journal(on=NEXT, narration="A grant of May", lines=self.LINES, by=by)

    def test_what_was_there_before_is_recorded_as_an_opening_balance(self, by):
        with pytest.raises(Refused, match="on the page “Record the opening balances”"):
            ledger.record_journal(on=JULY, narration="A grant of May", lines=self.LINES, by=by)
        ledger.record_opening(narration="Opening", lines=self.LINES, by=by)
        assert ledger.record_journal(on=JULY, narration="Another 40", lines=self.LINES, by=by)

    def test_the_database_refuses_it_too(self, closed, by):
        with (
            mock.patch("clubdesk.ledger.services.journals._refuse_accumulated"),
            pytest.raises(IntegrityError, match="moved by the correction of an earlier year alone"),
            transaction.atomic(),
        ):
            ledger.record_journal(on=NEXT, narration="A grant of May", lines=self.LINES, by=by)

    def test_what_was_written_before_can_still_be_reversed(self, by):
        ledger.record_opening(narration="Opening", lines=self.LINES, by=by)
        early = ledger.record_journal(on=JULY, narration="Another 40", lines=self.LINES, by=by)
        with clock.on(date(2027, 8, 1)):
            ledger.open_year(first_day=NEXT, by=by)
            ledger.close_year(year=FinancialYear.objects.get(first_day=JULY), by=by, on=NEXT)
            ledger.reverse_journal(journal=early, on=NEXT, reason="it was brought in", by=by)
        assert [result.name for result in check_all() if result.faults] == []
