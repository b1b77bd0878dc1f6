"""A book that begins on the first day of its first year: what was there before is no receipt of any day."""

import io
from datetime import date

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.urls import reverse
from openpyxl import load_workbook

from clubdesk import clock
from clubdesk.desk import services as desk
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear, Fund, FundRole, JournalEntry, Role
from clubdesk.ledger.posting import Line
from clubdesk.ledger.selectors import account
from clubdesk.money import as_amount
from clubdesk.reports import statements
from clubdesk.reports.committee import by_month, committee_page, months_to
from clubdesk.reports.selectors import Figures
from clubdesk.reports.workbook import workbook_bytes, write_workbook
from clubdesk.rooms import TREASURER
from clubdesk.verbs import shell_user
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.world("empty")]
FIRST, LAST, BEFORE = date(2026, 7, 1), date(2027, 6, 30), date(2026, 6, 30)
BANK, FLOAT, ENTRY_FUND, EQUIPMENT, WORN = "4213.77", "100.00", "612.40", "5000.00", "1500.00"


@pytest.fixture
def by(db):
    call_command("start_books", "--club", "Mirabar archers", "--year-start", FIRST.isoformat())
    return shell_user()


@pytest.fixture
def families(by):
    """Two that owe, one for each income, and one that has paid ahead."""
    homes = [factories.HouseholdFactory(name=name) for name in ("Ash", "Box", "Elm")]
    items = [
        factories.open_item(homes[0], 64, Role.MEMBERSHIPS),
        factories.open_item(homes[1], 90, Role.COURSES),
        factories.open_item(homes[2], -31, Role.MEMBERSHIPS),
    ]
    with clock.on(date(2026, 8, 20)):  # typed weeks later
        opening = [
            (Role.BANK, BANK, FundRole.GENERAL), (Role.TILL, FLOAT, FundRole.GENERAL),
            (Role.EQUIPMENT, EQUIPMENT, FundRole.GENERAL), (Role.DEPRECIATED, "-" + WORN, FundRole.GENERAL),
            (Role.ACCUMULATED, "-7813.77", FundRole.GENERAL),
            (Role.BANK, ENTRY_FUND, FundRole.ENTRY), (Role.ACCUMULATED, "-" + ENTRY_FUND, FundRole.ENTRY),
        ]  # fmt: skip
        lines = [Line(role, as_amount(text), None, fund) for role, text, fund in opening]
        ledger.record_opening(narration="Balances of the paper books", lines=lines, by=by)
        fees.bring_in_balances(items=items, by=by)
    return homes


def rows_of(statement):
    return {row.label: list(row.figures) for row in statement.rows if row.figures}


def signed_in_as(role):
    return desk.add_user(username=role.lower(), role=role)[0]


class TestTheFirstYear:
    def test_what_was_there_before_is_money_in_hand_before_and_never_a_receipt(self, families, by):
        fees.record_receipt(
            household=families[0], amount=as_amount(64), method=Method.TRANSFER, on=date(2026, 8, 3), by=by
        )
        receipts = rows_of(statements.receipts_and_payments(Figures.of_year(FinancialYear.objects.get()), None))
        assert [str(each) for each in receipts["Money in hand before 1 Jul 2026"]] == ["4313.77", "612.40", "4926.17"]
        assert receipts["Memberships"][-1] == 64 == receipts["Total receipts"][-1]
        assert [label for label in receipts if "Brought in" in label] == []
        assert {result.name: result.faults for result in check_all() if result.faults} == {}

    def test_it_is_in_no_year_and_nothing_else_may_be(self, families, by):
        brought = JournalEntry.objects.filter(year=None)
        assert {entry.date for entry in brought} == {BEFORE}
        assert not FinancialYear.objects.get().entries.exists()
        for day in (BEFORE, date(2026, 6, 29)):
            with pytest.raises(Refused, match="No financial year covers"):
                fees.record_receipt(household=families[0], amount=as_amount(1), method=Method.CARD, on=day, by=by)

    def test_each_month_and_each_fund_begins_with_it(self, families):
        july = Figures(FIRST, date(2026, 7, 31))
        entry = Figures(FIRST, LAST, Fund.objects.get(pk=FundRole.ENTRY))
        assert (july.money_before(), july.put_in(), str(entry.money_before())) == (
            as_amount("4926.17").amount,
            0,
            ENTRY_FUND,
        )
        months = months_to(date(2026, 8, 31))
        money, income, spending = by_month(july, months)
        assert months[0] == BEFORE
        assert sum(money[0]) == as_amount("4926.17").amount
        assert (sum(income), sum(spending)) == (0, 0)

    def test_each_month_still_begins_with_it_once_the_first_is_locked(self, families, by):
        july = Figures(FIRST, date(2026, 7, 31))
        months = months_to(date(2026, 8, 31))
        before = by_month(july, months)
        with clock.on(date(2026, 8, 20)):
            ledger.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        assert by_month(july, months) == before
        figures = {}
        write_workbook(
            FinancialYear.objects.get(), io.BytesIO(), made_on=date(2026, 8, 20), made_by="A test",
            copies=lambda name: figures.setdefault(name, []).append,
        )  # fmt: skip
        committee = [row for row in figures["Committee"] if row and str(row[0]).startswith("Jul 2026")]
        assert [[str(each) for each in row[1:3]] for row in committee] == [["4313.77", ENTRY_FUND]]
        proof = {row[0]: row[3] for row in figures["Proof"] if len(row) > 3}
        assert proof["Money of the committee's last month is the money in hand"] is True

    def test_a_first_years_last_year_is_blank_and_its_opening_position_is_known(self, families):
        now = Figures.of_year(FinancialYear.objects.get())
        income, position, _ = statements.of_basis("accrual", now)
        assert "Last year" not in income.columns
        assert position.columns[-1] == "30 Jun 2026"
        assert rows_of(position)["Fees owed"][-1] == 154
        assert rows_of(position)["Fees owed, in credit"][-1] == 31
        with clock.on(date(2026, 9, 1)):
            book = load_workbook(io.BytesIO(workbook_bytes(FinancialYear.objects.get(), made_on=FIRST, made_by="x")))
        sheet = book["Income and expenditure"]
        heads = [cell.value for cell in sheet[4]]
        column = [row[heads.index("Last year")].value for row in sheet.iter_rows(min_row=5)]
        assert set(column) == {None}

    def test_the_workbook_shows_it_as_what_was_there_and_nets_no_families(self, families):
        with clock.on(date(2026, 9, 1)):
            content = workbook_bytes(FinancialYear.objects.get(), made_on=FIRST, made_by="x")
        book = load_workbook(io.BytesIO(content), data_only=True)
        fund = {row[2]: row for row in book["Entry fund"].iter_rows(min_row=4, max_col=6, values_only=True)}
        assert fund["Opening balance"][3:] == (None, None, 612.4)
        assert fund["Closing balance"][3:] == (0, 0, 612.4)
        told = {row[0]: row[1:3] for row in book["Summary"].iter_rows(max_col=3, values_only=True)}
        assert (told["Fees owed"], told["Families in credit"]) == ((154, 154), (31, 31))
        assert told["Every check on the sheet Proof is TRUE"][0] is True

    def test_the_committees_page_counts_none_of_it_as_come_in(self, families):
        page = committee_page(FIRST, date(2026, 7, 31))
        income, spending = page.tables[1].rows
        assert (income.figures["now"], spending.figures["now"]) == (0, 0)
        assert ("Money in hand", as_amount("4926.17").amount) in page.facts

    def test_an_opening_holds_nothing_that_a_year_counts(self, by):
        lines = [Line(Role.BANK, as_amount(9)), Line(Role.MEMBERSHIPS, as_amount(-9))]
        with pytest.raises(Refused, match="4010 Memberships counts from the first day of a year"):
            ledger.record_opening(narration="Paper books", lines=lines, by=by)

    def test_once_a_month_is_locked_nothing_is_brought_in_nor_taken_back(self, families, by):
        ledger.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        lines = [Line(Role.CARD_TAKINGS, as_amount(9)), Line(Role.ACCUMULATED, as_amount(-9))]
        with pytest.raises(Refused, match="The first month is locked"):
            ledger.record_opening(narration="Found later", lines=lines, by=by)
        opening = JournalEntry.objects.filter(year=None).first()
        with pytest.raises(Refused, match="The first month is locked"):
            ledger.reverse(entry=opening, on=date(2026, 9, 1), reason="wrong", by=by)

    def test_the_pages_ask_for_no_day_and_say_which_it_is(self, client, by):
        home = factories.HouseholdFactory(name="Ash")
        client.force_login(signed_in_as(TREASURER))
        page = client.get(reverse("admin:ledger_journal_opening"))
        assert "30 June 2026" in page.content.decode()
        assert "on" not in page.context["form"].fields
        client.force_login(User.objects.get(is_superuser=True))
        url = reverse("admin:fees_charge_opening")
        page = client.get(url)
        assert "30 June 2026" in page.content.decode()
        sent = {
            "key": str(page.context["form"]["key"].value()), "line-TOTAL_FORMS": "2", "line-INITIAL_FORMS": "0",
            "line-0-household": home.pk, "line-0-owes": "64.00", "line-0-opened_for": "",
        }  # fmt: skip
        refused = client.post(url, sent)
        assert refused.status_code == 422
        assert "Say what it is owed for." in refused.content.decode()
        answer = client.post(url, sent | {"line-0-opened_for": account(Role.MEMBERSHIPS).pk}, follow=True)
        assert "1 owed, 0 paid ahead" in answer.content.decode()
        assert home.charges.get().income == account(Role.MEMBERSHIPS)
