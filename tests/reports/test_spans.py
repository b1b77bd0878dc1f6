"""What comes before a span, what is in it, and what comes after: figures, lines, seals, the committee's months."""

from datetime import date

import pytest

from clubdesk.entryfund.sheets import fund_moves
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.fees.sheets import households_owing
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Fund, FundRole, JournalOrigin, Role
from clubdesk.ledger.posting import Line
from clubdesk.ledger.selectors import account
from clubdesk.money import as_amount
from clubdesk.reports import committee, seal
from clubdesk.reports.selectors import (
    Figures,
    balances_at,
    lines_of_account,
    turnover,
)
from clubdesk.yearend import services as yearend
from tests import factories

pytestmark = pytest.mark.django_db
JULY, JULY_END = date(2026, 7, 1), date(2026, 7, 31)
AUGUST, AUGUST_END = date(2026, 8, 1), date(2026, 8, 31)
SEPTEMBER, NEXT = date(2026, 9, 1), date(2027, 7, 1)


@pytest.fixture
def write(by):
    """Write a journal, debit positive: `write(JULY, (Role.BANK, 10), (Role.DONATIONS, -10))`."""

    def written(on, *amounts, fund=FundRole.GENERAL, origin=JournalOrigin.HAND):
        lines = [Line(role, as_amount(amount), fund=fund) for role, amount in amounts]
        return ledger.record_journal(on=on, narration="By hand", lines=lines, by=by, origin=origin)

    return written


@pytest.fixture
def months(write):
    """Gifts on the last day of July, the first and last of August and the first of September; the bank took 20."""
    for on, amount in ((JULY_END, 100), (AUGUST, 50), (AUGUST_END, 30), (SEPTEMBER, 7)):
        write(on, (Role.BANK, amount), (Role.DONATIONS, -amount))
    write(AUGUST_END, (Role.BANK_FEES, 20), (Role.BANK, -20))


def columns(table):
    """The figures of a table by their words, what stands at its foot too."""
    return {row.words: row.figures for row in (*table.rows, *table.feet)}


class TestFigures:
    def test_what_stood_before_is_the_opening_and_the_days_themselves_move(self, months):
        now, bank = Figures(AUGUST, AUGUST_END), account(Role.BANK)
        general = Fund.objects.get(pk=FundRole.GENERAL)
        assert [now.figure(which, bank, general) for which in (now.opening, now.movement)] == [100, 50 + 30 - 20]
        assert (now.money_before(), now.money_in_hand(), now.surplus()) == (100, 160, 60)
        assert now.closing(account(Role.ACCUMULATED)) == -100, "July's gift, of before"

    def test_an_accounts_lines_begin_with_what_stood_the_day_before(self, months):
        found = lines_of_account(account(Role.BANK), AUGUST, AUGUST_END)
        assert (found.opening, [line.balance for line in found.lines], found.closing) == (100, [150, 180, 160], 160)
        assert [(line.debit, line.credit) for line in found.lines] == [(50, 0), (30, 0), (0, 20)]

    def test_of_days_without_a_line_an_account_closes_as_it_opened(self, months):
        found = lines_of_account(account(Role.BANK), date(2026, 8, 2), date(2026, 8, 30))
        assert (found.opening, found.lines, found.closing) == (150, [], 150)

    def test_income_is_counted_from_the_first_day(self, months):
        found = lines_of_account(account(Role.DONATIONS), AUGUST, AUGUST_END)
        assert (found.opening, [line.balance for line in found.lines]) == (0, [-50, -80])


class TestYears:
    @pytest.fixture
    def closed(self, months, by):
        """The year of 187 in gifts and 20 to the bank, closed; in the next one a gift of 9."""
        ledger.open_year(first_day=NEXT, by=by)
        return ledger.close_year(year=FinancialYear.objects.get(first_day=JULY), by=by, on=NEXT)

    def test_what_was_debited_and_credited_leaves_the_close_out(self, closed):
        assert {pk: both for pk, *both in turnover(closed)} == {
            account(Role.BANK).pk: [187, -20],
            account(Role.DONATIONS).pk: [0, -187],
            account(Role.BANK_FEES).pk: [20, 0],
        }

    def test_what_each_account_stood_at_by_an_entry(self, closed, write):
        write(NEXT, (Role.BANK, 9), (Role.DONATIONS, -9))
        following = FinancialYear.objects.get(first_day=NEXT)
        last = seal.seal_of(following).number
        bank, gifts, fees_of_bank, kept = (
            account(role).code for role in (Role.BANK, Role.DONATIONS, Role.BANK_FEES, Role.ACCUMULATED)
        )
        assert balances_at(closed, last) == {bank: 167, gifts: -187, fees_of_bank: 20}
        assert balances_at(closed, 1) == {bank: 100, gifts: -100}
        assert balances_at(following, last) == {bank: 176, gifts: -9, kept: -167}

    def test_the_seal_is_of_the_last_entry_of_the_year_that_the_days_lie_in(self, closed, write):
        of_the_close = closed.entries.get(is_closing=True)
        write(NEXT, (Role.BANK, 9), (Role.DONATIONS, -9))
        sealed = seal.Seal(of_the_close.number, of_the_close.digest, True)
        assert seal.seal_of_span(JULY, date(2027, 6, 30)) == seal.seal_of_span(AUGUST, AUGUST_END) == sealed
        assert seal.seal_of_span(JULY, NEXT) == seal.seal_of(None)
        assert (seal.seal_of(None).number, seal.seal_of(None).is_final) == (of_the_close.number + 1, False)

    def test_who_owes_the_most_stands_first_and_what_is_in_credit_last(self, book, by):
        homes = [factories.HouseholdFactory(name=name) for name in ("Ash", "Box", "Elm", "Oak")]
        price = factories.price()
        for home, amount in zip(homes, (50, 126, 50, None), strict=True):
            if amount:
                fees.charge(household=home, price=price, amount=as_amount(amount), on=JULY, starts_on=JULY, by=by)
        fees.record_receipt(household=homes[3], amount=as_amount(30), method=Method.CASH, on=JULY, by=by)
        assert households_owing(JULY) == [("Box", 126), ("Ash", 50), ("Elm", 50), ("Oak", -30)]

    def test_a_seal_is_read_in_three_groups_of_four(self):
        of_a_year = seal.Seal(7, "9f2c07ab51d0ee", True)
        assert of_a_year.in_words == "Sealed 9F2C-07AB-51D0, entry 7"
        assert seal.Seal(7, "9f2c07ab51d0ee", False).in_words == "Not closed; entry 7"
        assert seal.Seal(0, "", False).in_words == "No entry yet"

    def test_what_came_into_a_fund_and_went_out_of_it(self, write, by):
        entry = FundRole.ENTRY
        write(JULY, (Role.BANK, 40), (Role.DONATIONS, -40), fund=entry)
        write(AUGUST, (Role.BANK, 60), (Role.GRANTS, -60), fund=entry)
        write(AUGUST, (Role.BANK, 7), (Role.GRANTS, -7))
        write(SEPTEMBER, (Role.BANK_FEES, 9), (Role.BANK, -9), fund=entry)
        ledger.open_year(first_day=NEXT, by=by)
        year = ledger.close_year(year=FinancialYear.objects.get(first_day=JULY), by=by, on=NEXT)
        numbers = list(year.entries.filter(is_closing=False).order_by("number").values_list("number", flat=True))
        assert list(fund_moves(year)) == [
            (numbers[0], JULY, "By hand", 40),
            (numbers[1], AUGUST, "By hand", 60),
            (numbers[3], SEPTEMBER, "By hand", -9),
        ]


class TestTheCommittee:
    def test_month_by_month_what_is_in_hand_what_came_and_what_went(self, months):
        ends = committee.months_to(date(2026, 8, 15))
        money, income, spending = committee.by_month(Figures(AUGUST, AUGUST_END), ends)
        assert ends == [date(2026, 6, 30), JULY_END, AUGUST_END], "of before the book nothing is known"
        assert money == [[0, 0], [100, 0], [160, 0]], "general and entry fund"
        assert (income, spending) == ([0, 100, 80], [0, 0, 20])

    def test_what_was_there_before_the_twelve_months_is_in_hand_in_the_first(self, months, by):
        ledger.open_year(first_day=NEXT, by=by)
        money, income, _ = committee.by_month(Figures(NEXT, date(2027, 7, 31)), committee.months_to(date(2027, 7, 31)))
        assert (money[0], income[0], money[-1]) == ([160, 0], 80, [167, 0])

    def test_the_surplus_stands_beside_the_budget_and_a_year_ago(self, months, write, by):
        following = ledger.open_year(first_day=NEXT, by=by)
        write(date(2027, 8, 9), (Role.BANK, 90), (Role.DONATIONS, -90))
        write(date(2027, 8, 9), (Role.BANK_FEES, 4), (Role.BANK, -4))
        for role, amount in ((Role.DONATIONS, 70), (Role.BANK_FEES, 6)):
            planned = {date(2027, 8, 1): as_amount(amount)}
            yearend.set_budget(year=following, account=account(role), months=planned, by=by)
        page = committee.committee_page(date(2027, 8, 1), date(2027, 8, 31))
        table = next(each for each in page.tables if each.title.startswith("Surplus"))
        assert columns(table) == {
            "Income": {"now": 90, "budget": 70, "last": 80},
            "Spending": {"now": 4, "budget": 6, "last": 20},
            "Surplus (deficit)": {"now": 86, "budget": 64, "last": 60},
        }
        assert page.facts[:2] == [("Money in hand", 167 + 90 - 4), ("Surplus (deficit)", 86)]

    @pytest.mark.parametrize(
        ("first", "last", "note"),
        [
            (AUGUST, AUGUST_END, ""),
            (date(2026, 8, 2), AUGUST_END, "by its days"),
            (AUGUST, date(2026, 8, 30), "by its days"),
        ],
    )
    def test_a_month_that_is_not_told_whole_is_said(self, months, by, first, last, note):
        year = FinancialYear.objects.get()
        yearend.set_budget(year=year, account=account(Role.DONATIONS), months={AUGUST: as_amount(31)}, by=by)
        table = next(each for each in committee.committee_page(first, last).tables if each.title.startswith("Surplus"))
        assert (note in table.note, bool(table.note)) == (True, bool(note))
