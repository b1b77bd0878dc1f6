"""Statements figure by figure: several funds beside each other, one row of the bridge, the bank as signed off."""

from datetime import date
from decimal import Decimal

import pytest

from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeShare, Method
from clubdesk.ledger.models import Fund, FundRole, Role
from clubdesk.ledger.selectors import account, entries_of
from clubdesk.money import as_amount
from clubdesk.reports import statements
from clubdesk.reports.selectors import Figures
from tests import factories
from tests.reports.reading import figures_of

pytestmark = pytest.mark.django_db
JULY, JULY_END = date(2026, 7, 1), date(2026, 7, 31)
AUGUST, AUGUST_END, LAST = date(2026, 8, 1), date(2026, 8, 31), date(2027, 6, 30)


class TestSeveralFunds:
    """In July the fair brought 100 and 30 for the entry fund; in August 50 and 5, and the bank took 20."""

    @pytest.fixture
    def august(self, journal):
        for on, general, entry in ((JULY, 100, 30), (AUGUST, 50, 5)):
            journal((Role.BANK, general), (Role.DONATIONS, -general), on=on)
            journal((Role.BANK, entry, FundRole.ENTRY), (Role.DONATIONS, -entry, FundRole.ENTRY), on=on)
        journal((Role.BANK_FEES, 20), (Role.BANK, -20), on=AUGUST)
        return Figures(AUGUST, AUGUST_END)

    def test_income_and_expenditure_stand_by_fund_with_their_total_and_what_came_the_month_before(self, august):
        found = statements.income_and_expenditure(august, Figures(JULY, JULY_END))
        assert found.columns == ["General fund", "Entry fund", "Total", "Of it by hand", "Last year"]
        assert figures_of(found) == {
            "Donations and fundraising": [50, 5, 55, 55, 130],
            "Total income": [50, 5, 55, 55, 130],
            "Bank and card fees": [20, 0, 20, 20, 0],
            "Total expenditure": [20, 0, 20, 20, 0],
            "Surplus (deficit)": [30, 5, 35, None, 130],
        }

    def test_what_one_fund_gives_another_is_shown_though_it_comes_to_nothing_in_all(self, august, journal):
        entry = FundRole.ENTRY
        journal((Role.TRANSFERS, 20), (Role.BANK, -20), (Role.BANK, 20, entry), (Role.TRANSFERS, -20, entry))
        found = figures_of(statements.income_and_expenditure(Figures(AUGUST, AUGUST_END), None))
        assert found["Transfers between funds"] == [20, -20, 0, 0]
        assert found["Surplus (deficit)"] == [10, 25, 35, None]

    def test_receipts_and_payments_lead_from_the_money_before_to_the_money_after(self, august):
        found = statements.receipts_and_payments(august, Figures(JULY, JULY_END))
        assert found.columns == ["General fund", "Entry fund", "Total", "Last year"]
        assert [row.label for row in found.rows if row.kind == "heading"] == ["Receipts", "Payments"]
        assert figures_of(found) == {
            "Donations and fundraising": [50, 5, 55, 130],
            "Total receipts": [50, 5, 55, 130],
            "Bank and card fees": [20, 0, 20, 0],
            "Total payments": [20, 0, 20, 0],
            "Receipts less payments": [30, 5, 35, 130],
            "Money in hand before 1 Aug 2026": [100, 30, 130, 0],
            "Money in hand on 31 Aug 2026": [130, 35, 165, 130],
        }

    def test_the_balance_sheet_says_in_which_fund_it_is_kept(self, august):
        assert figures_of(statements.balance_sheet(august, Figures(JULY, JULY_END))) == {
            "Bank": [165, 130],
            "Total assets": [165, 130],
            "Total liabilities": [0, 0],
            "Net assets": [165, 130],
            "Entry fund": [35, 30],
            "General fund": [130, 100],
            "Total of the funds": [165, 130],
        }

    def test_the_bridge_takes_off_what_was_paid_ahead_before_and_adds_what_is_paid_ahead_after(self, august, journal):
        journal((Role.PREPAYMENTS, 8), (Role.BANK, -8), on=JULY)
        journal((Role.BANK_FEES, 3), (Role.PREPAYMENTS, -3), on=AUGUST)
        found = statements.bridge(Figures(AUGUST, AUGUST_END))
        assert found.columns == ["General fund", "Entry fund", "Total"]
        assert figures_of(found) == {
            "Receipts less payments": [30, 5, 35],
            "Prepayments on 1 Aug 2026, at the start": [-8, 0, -8],
            "Prepayments on 31 Aug 2026, at the end": [5, 0, 5],
            "Surplus by this bridge": [27, 5, 32],
            "Surplus by the ledger, accrual basis": [27, 5, 32],
            "Difference": [0, 0, 0],
        }


def test_the_bridge_line_by_line_is_right_to_the_cent_in_each_row(book, by):
    """A course of 126 of which visitors get 26.50; 80.25 of it is paid, so 45.75 is owed."""
    home, price = factories.HouseholdFactory(), factories.price()
    FeeShare.objects.create(price=price, account=account(Role.VISITORS), amount=as_amount("26.50"))
    fees.charge(household=home, price=price, on=JULY, starts_on=JULY, by=by)
    fees.record_receipt(household=home, amount=as_amount("80.25"), method=Method.CARD, on=JULY, by=by)
    found = statements.bridge_by_line(Figures(JULY, LAST))
    assert found.columns == ["Cash", "Fees owed", "Between lines", "Accrual", "Difference"]
    paid, owed, share = Decimal("80.25"), Decimal("45.75"), Decimal("26.50")
    assert figures_of(found) == {
        "Beginner courses": [paid, owed, -share, Decimal("99.50"), 0],
        "Visitor fees": [0, None, share, share, 0],
        "Total": [paid, owed, 0, 126, 0],
    }


def test_money_for_a_thing_sold_is_named_by_what_happened_and_its_loss_by_the_account(journal):
    journal((Role.BANK, 60), (Role.DISPOSALS, -60))
    now = Figures(JULY, LAST)
    assert figures_of(statements.receipts_and_payments(now, None))["Equipment sold"] == [60, 0, 60]
    assert figures_of(statements.bridge_by_line(now))["Loss or gain on equipment"] == [60, None, 60, 0]


def test_what_a_family_paid_ahead_is_named_so_in_receipts_and_in_the_bridge(book, by):
    home, ahead = factories.HouseholdFactory(), "Paid ahead by families, not used yet"
    fees.record_receipt(household=home, amount=as_amount(70), method=Method.CARD, on=JULY, by=by)
    now = Figures(JULY, LAST)
    assert figures_of(statements.receipts_and_payments(now, None))[ahead] == [70, 0, 70]
    assert figures_of(statements.bridge_by_line(now))[ahead] == [70, -70, None, 0, 0]


class TestMoneyReconciled:
    """The bank has shown 500; 30 came in and 50 went out that it has not shown yet. 15 lie in the till."""

    @pytest.fixture
    def signed(self, journal, by):
        shown = journal((Role.BANK, 500), (Role.DONATIONS, -500))
        journal((Role.BANK, 30), (Role.DONATIONS, -30))
        journal((Role.BANK_FEES, 50), (Role.BANK, -50))
        journal((Role.TILL, 15), (Role.DONATIONS, -15))
        of_the_club = BankAccount.objects.get()
        line = bank.record_statement_line(
            bank_account=of_the_club, on=date(2026, 8, 5), amount=as_amount(500), text="GIFT", by=by
        )
        posting = entries_of(shown).get().postings.get(account=of_the_club.account)
        bank.clear(lines=[line], postings=[posting], reasons="seen", by=by)
        return bank.sign_off_month(
            bank_account=of_the_club, until=AUGUST_END, statement_balance=as_amount(500), on=date(2026, 9, 1), by=by
        )

    def test_what_is_on_its_way_stands_between_the_banks_statement_and_the_book(self, signed):
        assert figures_of(statements.money_balances(Figures(JULY, AUGUST_END))) == {
            str(signed.bank_account): [500, -20, 480, 0],
            "Cash box": [None, None, 15, None],
            "Card takings": [None, None, 0, None],
            "Money in hand": [None, None, 495, None],
        }

    def test_a_month_that_is_not_signed_off_says_so(self, signed):
        found = figures_of(statements.money_balances(Figures(JULY, JULY_END)))
        assert found[f"{signed.bank_account}: not signed off to this day"] == [None, None, 0, None]

    def test_a_month_that_is_opened_again_is_not_signed_off(self, signed, treasurer):
        bank.reopen_month(reconciliation=signed, on=date(2026, 9, 2), reason="a cheque", by=treasurer)
        found = figures_of(statements.money_balances(Figures(JULY, AUGUST_END)))
        assert found[f"{signed.bank_account}: not signed off to this day"] == [None, None, 480, None]

    def test_one_funds_own_statements_leave_it_out_since_the_bank_keeps_the_money_together(self, book):
        entry = Fund.objects.get(pk=FundRole.ENTRY)
        titles = [each.title for each in statements.of_basis("cash", Figures(JULY, AUGUST_END, entry))]
        assert titles == ["Receipts and payments", "Assets and liabilities"]
