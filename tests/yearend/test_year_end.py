"""The year's end: budget, adjustments, the register, and a close that proves itself item by item."""

import io
import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.entryfund import services as entryfund
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.fees import services as fees
from clubdesk.ledger import services as ledger
from clubdesk.ledger.closing import suspense_is_zero
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, Journal, JournalEntry, JournalOrigin, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Tap
from clubdesk.reports.selectors import Figures
from clubdesk.yearend import checklist, closing, selectors, services
from clubdesk.yearend.forms import seen_plan
from clubdesk.yearend.models import BudgetMonth, Comparative, DepreciationLine, Disposal, Equipment
from clubdesk.yearend.register import Register, disposal_of
from tests import factories

pytestmark = pytest.mark.django_db
FIRST, LAST, NEXT = date(2026, 7, 1), date(2027, 6, 30), date(2027, 7, 1)


def left_of(thing, until):
    return Register.at(until).to_lose(thing, until).amount


def bought(by, amount, on=FIRST):
    lines = [debit(Role.EQUIPMENT, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
    ledger.record_journal(on=on, narration="Given", lines=lines, by=by)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def general(book):
    return Fund.objects.get(pk=FundRole.GENERAL)


@pytest.fixture
def year(book):
    return FinancialYear.objects.get()


def expense(code):
    return Account.objects.get(code=code)


class TestBudget:
    def test_a_year_is_spread_to_the_cent(self, year, by):
        months = selectors.spread(as_amount("1000.00"), selectors.months_of(year))
        assert [str(amount.amount) for amount in months.values()] == ["83.34"] * 4 + ["83.33"] * 8
        services.set_budget(year=year, account=expense("5070"), months=months, by=by)
        assert selectors.budget_of(FIRST, LAST) == {expense("5070").pk: 1000}
        services.set_budget(year=year, account=expense("5070"), months={FIRST: as_amount(5)}, by=by)
        assert selectors.budget_of(FIRST, LAST) == {expense("5070").pk: 5}

    def test_it_is_copied_from_what_last_year_was_month_by_month(self, by):
        following = ledger.open_year(first_day=NEXT, by=by)
        for month, amount in ((8, "100.00"), (9, "40.10")):
            lines = [debit(expense("5070"), as_amount(amount)), credit(Role.BANK, as_amount(amount))]
            ledger.record_journal(on=date(2026, month, 3), narration="Insurance", lines=lines, by=by)
        services.copy_budget(year=following, percent=Decimal(105), by=by)
        found = {row.month: str(row.amount.amount) for row in BudgetMonth.objects.all()}
        assert found == {date(2027, 8, 1): "105.00", date(2027, 9, 1): "42.11"}  # 42.105, half a cent up

    def test_a_month_below_nil_is_taken_off_the_months_around_it_so_that_the_year_stays(self, by):
        following = ledger.open_year(first_day=NEXT, by=by)
        for month, code, amount in ((8, "4020", 300), (9, "4020", -80), (9, "4040", -20)):
            lines = [debit(Role.BANK, as_amount(amount)), credit(expense(code), as_amount(amount))]
            ledger.record_journal(on=date(2026, month, 3), narration="Courses", lines=lines, by=by)
        copied = services.copy_budget(year=following, percent=Decimal(100), by=by)
        assert selectors.budget_of(NEXT, date(2028, 6, 30)) == {expense("4020").pk: 220}
        assert (copied.planned, copied.below_nil) == (1, [expense("4040")])

    @given(st.lists(st.integers(-500, 900), min_size=1, max_size=12))
    def test_setting_off_keeps_the_sum_and_leaves_nothing_below_nil(self, figures):
        months = {date(2026, place + 1, 1): Decimal(figure) for place, figure in enumerate(figures)}
        left = selectors.set_off(months)
        assert min(left.values()) >= 0
        assert sum(left.values()) == max(sum(figures), 0)

    def test_of_a_month_not_told_whole_its_days_count(self, year, by):
        services.set_budget(
            year=year, account=expense("5070"), months={FIRST: as_amount(310), date(2026, 8, 1): as_amount(31)}, by=by
        )
        for first, last, planned in (
            (FIRST, date(2026, 7, 10), 100), (date(2026, 7, 22), date(2026, 8, 31), 131),
            (date(2026, 7, 31), date(2026, 8, 1), 11),
        ):  # fmt: skip
            assert selectors.budget_of(first, last) == {expense("5070").pk: planned}

    def test_an_account_that_is_planned_is_never_blanked_by_a_form_that_did_not_show_it(self, client, treasurer, year):
        client.force_login(treasurer)
        url, account = reverse("admin:ledger_financialyear_budget", args=[year.pk]), expense("5070")
        form = {"key": uuid.uuid4(), "account": account.pk}
        client.post(url, {**form, "whole": "1200"})
        refused = client.post(url, form)
        assert refused.status_code == 422
        assert "is planned already, or was meanwhile; open it from the budget" in refused.content.decode()
        months = {f"month_{month:%Y_%m}": "100.00" for month in selectors.months_of(year)}
        seen = seen_plan(account.pk, {month: as_amount(100) for month in selectors.months_of(year)})
        client.post(url, {**form, "seen": seen, **months, "whole": "2400"})
        assert selectors.budget_of(FIRST, LAST) == {account.pk: 2400}

    def test_a_plan_that_somebody_changed_meanwhile_is_not_written_over(self, client, treasurer, year, by):
        account, months = expense("5070"), selectors.months_of(year)
        plans = [{month: as_amount(each) for month in months} for each in (100, 250)]
        for plan in plans:
            services.set_budget(year=year, account=account, months=plan, by=by)
        client.force_login(treasurer)
        typed = {f"month_{month:%Y_%m}": "120.00" for month in months}
        url = reverse("admin:ledger_financialyear_budget", args=[year.pk])
        form = {"key": uuid.uuid4(), "account": account.pk, "seen": seen_plan(account.pk, plans[0]), **typed}
        assert client.post(url, form).status_code == 422
        assert selectors.budget_of(FIRST, LAST) == {account.pk: 3000}

    def test_copying_over_a_budget_asks_first(self, client, treasurer, year, by):
        following = ledger.open_year(first_day=NEXT, by=by)
        lines = [debit(expense("5070"), as_amount(40)), credit(Role.BANK, as_amount(40))]
        ledger.record_journal(on=date(2026, 8, 3), narration="Insurance", lines=lines, by=by)
        services.set_budget(year=following, account=expense("5050"), months={NEXT: as_amount(5)}, by=by)
        client.force_login(treasurer)
        url = reverse("admin:ledger_financialyear_budget-copy", args=[following.pk])
        assert client.post(url, {"key": uuid.uuid4(), "percent": "100"}).status_code == 422
        client.post(url, {"key": uuid.uuid4(), "percent": "100", "replace": "on"})
        assert selectors.budget_of(NEXT, date(2028, 6, 30)) == {expense("5070").pk: 40}

    @pytest.mark.parametrize(
        ("code", "month", "amount", "sentence"),
        [
            ("1010", FIRST, 5, "neither income nor expense"),
            ("5070", NEXT, 5, "July 2027 is not a month"),
            ("5070", FIRST, -5, "not below nil"),
        ],
    )
    def test_what_cannot_be_planned_is_said(self, year, by, code, month, amount, sentence):
        with pytest.raises(Refused, match=sentence):
            services.set_budget(year=year, account=expense(code), months={month: as_amount(amount)}, by=by)

    def test_the_budget_of_a_closed_year_stays_in_the_database_too(self, year, by):
        services.set_budget(year=year, account=expense("5070"), months={FIRST: as_amount(5)}, by=by)
        ledger.close_year(year=year, by=by, on=NEXT)
        with pytest.raises(Refused, match="is closed"):
            services.set_budget(year=year, account=expense("5070"), months={}, by=by)
        for sql in ("DELETE FROM yearend_budgetmonth", "UPDATE yearend_budgetmonth SET amount = 900"):
            with pytest.raises(IntegrityError, match="stays as it was"), transaction.atomic():
                connection.cursor().execute(sql)

    def test_an_accounts_year_is_typed_on_a_page(self, client, treasurer, year):
        client.force_login(treasurer)
        url = reverse("admin:ledger_financialyear_budget", args=[year.pk])
        form = {"key": uuid.uuid4(), "account": expense("5070").pk, "whole": "1,200.00"}
        assert client.post(url, {**form, "month_2026_07": "7"}).status_code == 422
        client.post(url, form)
        page = client.get(reverse("admin:budget", args=[2027])).content.decode()
        assert "1,200.00" in page
        assert "−1,200.00" in page
        shown = client.get(f"{url}?account={expense('5070').pk}").content.decode()
        assert shown.count('value="100.00"') == 12
        assert "Budget" in client.get(reverse("admin:statements", args=[2027])).content.decode()


class TestAdjustments:
    def test_a_bill_that_has_not_come_counts_and_is_undone_for_the_bill(self, general, by):
        journal = services.accrue(
            expense=expense("5050"), amount=as_amount(185), fund=general, on=date(2026, 8, 31),
            reverse_on=date(2026, 9, 1), narration="Mower serviced", by=by,
        )  # fmt: skip
        assert journal.origin == JournalOrigin.ACCRUAL
        assert [balance(Role.OTHER_PAYABLES, day) for day in (date(2026, 8, 31), date(2026, 9, 1))] == [-185, 0]
        assert sound()

    def test_a_bill_paid_ahead_leaves_the_period_and_comes_back(self, general, by):
        services.prepay(
            expense=expense("5070"), amount=as_amount(620), fund=general, on=date(2026, 8, 31),
            reverse_on=date(2026, 9, 1), narration="Insurance ahead", by=by,
        )  # fmt: skip
        assert [balance(Role.PREPAYMENTS, day) for day in (date(2026, 8, 31), date(2026, 9, 1))] == [620, 0]

    def test_stock_is_posted_as_the_difference_to_the_book_up_and_down(self, general, by):
        for counted, on in ((240, date(2026, 8, 31)), (90, date(2026, 9, 10))):
            services.count_stock(
                counted=as_amount(counted), materials=expense("5020"), fund=general, on=on, narration="Counted", by=by
            )
            assert balance(Role.STOCK, on) == counted
        with pytest.raises(Refused, match="90.00 already"):
            services.count_stock(
                counted=as_amount(90), materials=expense("5020"), fund=general, on=on, narration="Counted", by=by
            )

    def test_doubtful_fees_lessen_what_is_owed_and_leave_the_debts(self, general, by):
        home, on = factories.HouseholdFactory(), date(2026, 8, 1)
        fees.charge(household=home, price=factories.price(), on=on, starts_on=on, by=by)
        for wanted in (100, 26):
            services.provide(wanted=as_amount(wanted), on=date(2026, 9, 1), narration="Doubtful", by=by)
            assert balance(Role.ALLOWANCE, date(2026, 9, 1)) == -wanted
        assert balance(Role.FEES_OWED, date(2026, 9, 1)) == 126
        assert sound()

    def test_a_count_of_an_earlier_day_never_changes_what_a_later_one_found(self, general, by):
        for counted, on in ((240, date(2026, 8, 31)), (90, date(2026, 8, 1))):
            count = {"counted": as_amount(counted), "materials": expense("5020"), "fund": general, "on": on}
            if counted == 90:
                with pytest.raises(Refused, match="was posted for 31 Aug 2026 already"):
                    services.count_stock(**count, narration="Counted", by=by)
            else:
                services.count_stock(**count, narration="Counted", by=by)

    def test_no_more_is_doubtful_than_families_owe(self, by):
        with pytest.raises(Refused, match="Families owe 0.00 on 1 Sep 2026"):
            services.provide(wanted=as_amount(1), on=date(2026, 9, 1), narration="Doubtful", by=by)

    def test_the_same_press_twice_posts_once(self, general, by):
        key = uuid.uuid4()
        for _ in range(2):
            services.count_stock(
                counted=as_amount(240), materials=expense("5020"), fund=general, on=date(2026, 9, 1),
                narration="Counted", by=by, key=key,
            )  # fmt: skip
        assert JournalEntry.objects.count() == 1

    def test_a_fund_that_is_restricted_is_never_overdrawn_by_one(self, by):
        entry = Fund.objects.get(pk=FundRole.ENTRY)
        with pytest.raises(Refused, match="holds 0.00"):
            services.accrue(
                expense=expense("5030"), amount=as_amount(5), fund=entry, on=date(2026, 9, 1),
                reverse_on=date(2026, 9, 2), narration="Medals", by=by,
            )  # fmt: skip

    @pytest.mark.parametrize("page", ["accrual", "prepayment", "stock", "provision", "depreciation"])
    def test_each_has_a_page_that_says_what_is_missing(self, client, treasurer, page):
        client.force_login(treasurer)
        url = reverse(f"admin:ledger_journal_{page}")
        assert client.get(url).status_code == 200
        assert client.post(url, {"key": uuid.uuid4()}).status_code == 422
        assert not Journal.objects.exists()

    def test_an_accrual_by_its_page(self, client, treasurer):
        client.force_login(treasurer)
        form = {"key": uuid.uuid4(), "expense": expense("5050").pk, "amount": "185.00", "fund": "general",
                "on": "2026-08-31", "reverse_on": "2026-09-01", "narration": "Mower serviced"}  # fmt: skip
        client.post(reverse("admin:ledger_journal_accrual"), form)
        assert JournalEntry.objects.count() == 2


class TestRegister:
    @pytest.fixture
    def bows(self, general, by):
        lines = [debit(Role.EQUIPMENT, as_amount(1000)), credit(Role.BANK, as_amount(1000))]
        ledger.record_journal(on=date(2026, 7, 10), narration="Bows", lines=lines, by=by)
        return services.add_equipment(
            name="Bows", bought_on=date(2026, 7, 10), cost=as_amount(1000), residual=as_amount(100), years=3,
            fund=general, by=by,
        )  # fmt: skip

    def test_it_loses_an_equal_part_a_month_exact_at_the_end(self, bows, by):
        """Straight line: 900.00 over 36 months is 25.00 a month; the month it was bought in counts whole."""
        with clock.on(date(2027, 7, 1)):
            for until, lost in ((date(2026, 7, 31), 25), (date(2026, 9, 30), 50), (LAST, 225)):
                journal = services.depreciate(until=until, by=by)
                assert journal.depreciation.get().amount == as_amount(lost)
        assert balance(Role.DEPRECIATED, LAST) == -300
        with pytest.raises(Refused, match="left to depreciate"):
            services.depreciate(until=LAST, by=by)
        assert left_of(bows, date(2040, 6, 30)) == 600
        assert sound()

    def test_odd_cents_come_out_even_over_its_years(self, general, by):
        bought(by, 100)
        thing = services.add_equipment(
            name="Butt", bought_on=FIRST, cost=as_amount("100.00"), years=3, fund=general, by=by
        )
        lost = []
        for month in range(36):
            until = selectors.month_end(date(2026 + (6 + month) // 12, (6 + month) % 12 + 1, 1))
            lost.append(left_of(thing, until) - sum(lost))
        assert sum(lost) == 100
        assert set(map(str, lost)) == {"2.77", "2.78"}

    def test_a_reversed_depreciation_is_posted_again(self, bows, by):
        journal = services.depreciate(until=date(2026, 8, 31), by=by)
        ledger.undo_entries_of(document=journal, on=date(2026, 8, 31), reason="too early", by=by)
        with pytest.raises((Refused, IntegrityError)), transaction.atomic():
            DepreciationLine.objects.update(amount=as_amount(1))
        assert left_of(bows, date(2026, 8, 31)) == 50
        services.depreciate(until=date(2026, 9, 30), by=by)
        assert balance(Role.DEPRECIATED, date(2026, 9, 30)) == -75
        assert sound()

    def test_what_is_gone_leaves_its_worth_as_a_loss(self, bows, by):
        services.depreciate(until=date(2026, 8, 31), by=by)
        services.dispose(equipment=bows, on=date(2026, 9, 5), reason="broken", by=by)
        services.dispose(equipment=bows, on=date(2026, 9, 6), reason="again", by=by)
        assert [balance(role, date(2026, 9, 12)) for role in self.ACCOUNTS] == [0, 0, 50, 950]
        assert Disposal.objects.count() == 1
        assert sound()

    ACCOUNTS = (Role.EQUIPMENT, Role.DEPRECIATED, Role.DEPRECIATION, Role.DISPOSALS)

    def test_what_is_sold_for_more_than_its_worth_is_a_gain_and_its_money_a_receipt(self, bows, by):
        """IAS 16, paragraph 71: a gain or loss is what came for it less its worth in the book (from memory)."""
        services.depreciate(until=date(2026, 8, 31), by=by)
        services.dispose(equipment=bows, on=date(2026, 9, 5), reason="sold", proceeds=as_amount(980), by=by)
        assert [balance(role, date(2026, 9, 12)) for role in self.ACCOUNTS] == [0, 0, 50, -30]
        now = Figures(FIRST, date(2026, 9, 12))
        assert now.cash(now.by_role[Role.DISPOSALS]) == 980
        assert now.surplus() == -20
        assert sound()

    def test_a_disposal_that_is_reversed_brings_the_thing_back(self, bows, by):
        services.depreciate(until=date(2026, 8, 31), by=by)
        gone = services.dispose(equipment=bows, on=date(2026, 9, 5), reason="lost", by=by)
        assert disposal_of(bows) == gone
        assert gone.journal.narration == f"Disposed of: {bows.name}", "the reason stands in the disposal alone"
        ledger.undo_entries_of(document=gone.journal, on=date(2026, 9, 8), reason="found", by=by)
        assert disposal_of(bows) is None
        there = {day: bool(Register.at(date(2026, 9, day)).things) for day in (4, 5, 7, 8)}
        assert there == {4: True, 5: False, 7: False, 8: True}
        services.depreciate(until=date(2026, 9, 30), by=by)
        services.dispose(equipment=bows, on=date(2026, 9, 30), reason="lost again", by=by)
        assert [balance(role, date(2026, 9, 30)) for role in self.ACCOUNTS] == [0, 0, 75, 925]
        assert sound()

    def test_what_was_depreciated_stays_while_the_thing_is_gone(self, bows, by):
        journal = services.depreciate(until=date(2026, 8, 31), by=by)
        gone = services.dispose(equipment=bows, on=date(2026, 9, 5), reason="lost", by=by)
        with pytest.raises(IntegrityError, match="reverse the journal of its disposal first"), transaction.atomic():
            ledger.undo_entries_of(document=journal, on=date(2026, 9, 6), reason="wrong", by=by)
        with pytest.raises(IntegrityError, match="not depreciated any more"), transaction.atomic():
            DepreciationLine.objects.create(
                journal=journal, equipment=bows, until=date(2026, 8, 31), amount=as_amount(1)
            )
        with pytest.raises(IntegrityError, match="gone already"), transaction.atomic():
            other = ledger.record_journal(
                on=date(2026, 9, 6), narration="Again", by=by, origin=JournalOrigin.DISPOSAL,
                lines=[debit(Role.DISPOSALS, as_amount(1)), credit(Role.EQUIPMENT, as_amount(1))],
            )  # fmt: skip
            Disposal.objects.create(equipment=bows, gone_on=date(2026, 9, 6), reason="x", journal=other, recorded_by=by)
        with pytest.raises(IntegrityError), transaction.atomic():
            Disposal.objects.filter(pk=gone.pk).update(gone_on=date(2026, 9, 1))

    def test_depreciation_hangs_on_its_own_kind_of_journal(self, bows, by):
        bought = Journal.objects.get()
        with pytest.raises(IntegrityError, match="journal of depreciation"), transaction.atomic():
            DepreciationLine.objects.create(
                journal=bought, equipment=bows, until=date(2026, 7, 10), amount=as_amount(1)
            )

    def test_the_register_has_no_more_than_the_ledger_bought(self, bows, general, by):
        with pytest.raises(Refused, match="1,000.00 by the ledger, of which 1,000.00 is in the register already"):
            services.add_equipment(name="Mower", bought_on=FIRST, cost=as_amount(1), years=5, fund=general, by=by)

    def test_a_thing_typed_wrongly_leaves_the_register_while_nothing_hangs_on_it(
        self, client, treasurer, bows, general, by
    ):
        client.force_login(treasurer)
        url = reverse("admin:yearend_equipment_withdraw", args=[bows.pk])
        client.post(url, {"key": uuid.uuid4(), "reason": "three years, not five"})
        assert Register.at(LAST).things == []
        again = services.add_equipment(name="Bows", bought_on=FIRST, cost=as_amount(1000), years=5, fund=general, by=by)
        services.depreciate(until=date(2026, 8, 31), by=by)
        with pytest.raises(Refused, match="Something was posted of it"):
            services.withdraw_equipment(equipment=again, on=LAST, reason="x", by=by)
        for sql in (
            "UPDATE yearend_equipment SET withdrawn_on = '2026-09-01'",
            "UPDATE yearend_equipment SET withdrawn_on = NULL",
        ):
            with pytest.raises(IntegrityError, match="taken out of the register"), transaction.atomic():
                connection.cursor().execute(sql)

    def test_what_a_restricted_fund_holds_is_money(self, by):
        """Equipment and bills paid ahead would be counted as money and spent a second time."""
        entry = Fund.objects.get(pk=FundRole.ENTRY)
        lines = [debit(Role.BANK, as_amount(90), fund=entry), credit(Role.GRANTS, as_amount(90), fund=entry)]
        ledger.record_journal(on=FIRST, narration="Grant", lines=lines, by=by)
        for role in ledger.NO_MONEY_ROLES:
            lines = [debit(role, as_amount(5), fund=entry), credit(Role.BANK, as_amount(5), fund=entry)]
            with pytest.raises(Refused, match="holds money only"):
                ledger.record_journal(on=FIRST, narration="Bows", lines=lines, by=by)
        with pytest.raises(Refused, match="equipment stands in another fund"):
            services.add_equipment(name="Bows", bought_on=FIRST, cost=as_amount(5), years=3, fund=entry, by=by)

    def test_depreciation_undone_later_and_posted_again_never_counts_twice_on_one_day(self, bows, by, year):
        ledger.open_year(first_day=NEXT, by=by)
        with clock.on(date(2027, 7, 20)):
            journal = services.depreciate(until=LAST, by=by)
            ledger.reverse_journal(journal=journal, on=date(2027, 7, 10), reason="a slip", by=by)
            again = services.depreciate(until=LAST, by=by)
            assert again.date == date(2027, 7, 10)
            assert [balance(Role.DEPRECIATED, day) for day in (LAST, date(2027, 7, 10))] == [-300, -300]
            assert closing.register_agrees(year).done
            assert closing.equipment_depreciated(year).done

    def test_what_a_thing_lost_in_an_earlier_year_is_posted_before_it_goes(self, bows, by):
        ledger.open_year(first_day=NEXT, by=by)
        with clock.on(date(2027, 8, 1)):
            with pytest.raises(Refused, match="Depreciate to 30 Jun 2027 first"):
                services.dispose(equipment=bows, on=date(2027, 7, 20), reason="sold", by=by)
            services.depreciate(until=LAST, by=by)
            services.dispose(equipment=bows, on=date(2027, 7, 20), reason="sold", by=by)

    def test_a_key_used_again_after_a_reversal_disposes_of_nothing_twice(self, bows, by):
        key = uuid.uuid4()
        gone = services.dispose(equipment=bows, on=date(2026, 8, 5), reason="lost", by=by, key=key)
        ledger.undo_entries_of(document=gone.journal, on=date(2026, 8, 8), reason="found", by=by)
        assert services.dispose(equipment=bows, on=date(2026, 8, 5), reason="lost", by=by, key=key) == gone
        with pytest.raises(Refused, match="It was in use on 8 Aug 2026"):
            services.dispose(equipment=bows, on=date(2026, 8, 6), reason="lost again", by=by)

    def test_months_are_depreciated_in_their_order(self, bows, by):
        ledger.open_year(first_day=NEXT, by=by)
        with clock.on(date(2027, 9, 1)):
            with pytest.raises(Refused, match="Depreciate to 30 Jun 2027 first"):
                services.depreciate(until=date(2027, 8, 31), by=by)
            services.depreciate(until=LAST, by=by)
            services.depreciate(until=date(2027, 8, 31), by=by)
            first = Journal.objects.get(date=LAST)
            ledger.undo_entries_of(document=first, on=LAST, reason="wrong", by=by)
            item = closing.equipment_depreciated(FinancialYear.objects.get(last_day=LAST))
            assert "Later months were posted first" in item.said
            with pytest.raises(Refused, match="to 31 Aug 2027 already"):
                services.depreciate(until=LAST, by=by)

    def test_what_belongs_to_a_locked_month_is_posted_on_the_first_open_day(self, bows, by, year):
        ledger.open_year(first_day=NEXT, by=by)
        ledger.lock_month(month_end=LAST, by=by)
        with clock.on(date(2027, 7, 20)):
            journal = services.depreciate(until=LAST, by=by)
        assert (journal.date, journal.depreciation.get().until) == (NEXT, LAST)
        assert closing.equipment_depreciated(year).done

    def test_its_page_says_what_would_be_posted(self, client, treasurer, bows):
        client.force_login(treasurer)
        with clock.on(date(2026, 10, 3)):
            page = client.get(reverse("admin:ledger_journal_depreciation")).content.decode()
            assert "30 September 2026: 75.00" in page
            assert "31 August 2026: 50.00" in page
            client.post(reverse("admin:ledger_journal_depreciation"), {"key": uuid.uuid4(), "until": "2026-09-30"})
        assert balance(Role.DEPRECIATED, date(2026, 9, 30)) == -75

    def test_it_is_sold_on_its_page(self, client, treasurer, bows):
        client.force_login(treasurer)
        url = reverse("admin:yearend_equipment_dispose", args=[bows.pk])
        form = {"key": uuid.uuid4(), "on": "2026-09-05", "reason": "sold", "proceeds": "700"}
        client.post(url, form)
        page = client.get(reverse("admin:yearend_equipment_change", args=[bows.pk])).content.decode()
        assert "What became of it" in page
        assert "700.00" in page
        assert (
            "5 Sep 2026" in client.get(reverse("admin:yearend_equipment_changelist")).content.decode() or "Sept" in page
        )

    @pytest.mark.parametrize(
        ("change", "sentence"),
        [
            ({"residual": as_amount(1000)}, "less than what it cost"),
            ({"years": 0}, "1 to 50 years"),
            ({"brought_in": as_amount(1001)}, "more than 1,000.00 before"),
            ({"name": " "}, "Write what it is"),
        ],
    )
    def test_what_cannot_be_is_said(self, general, by, change, sentence):
        thing = {"name": "Bows", "bought_on": FIRST, "cost": as_amount(1000), "years": 3, "fund": general, "by": by}
        with pytest.raises(Refused, match=sentence):
            services.add_equipment(**{**thing, **change})

    def test_the_database_lets_nothing_lose_more_than_it_cost(self, bows, by):
        journal = services.depreciate(until=date(2026, 8, 31), by=by)
        with pytest.raises(IntegrityError, match="more than what it cost"), transaction.atomic():
            DepreciationLine.objects.create(
                journal=journal, equipment=bows, until=date(2026, 8, 31), amount=as_amount("850.01")
            )
        for sql in ("UPDATE yearend_equipment SET cost = 200000", "DELETE FROM yearend_equipment",
                    "DELETE FROM yearend_depreciationline"):  # fmt: skip
            with pytest.raises(IntegrityError), transaction.atomic():
                connection.cursor().execute(sql)
        assert Equipment.objects.count() == 1


def ready(by):
    """A year that is over with some of everything in it, and nothing left to do."""
    following = ledger.open_year(first_day=NEXT, by=by)
    lines = [debit(Role.BANK, as_amount(500)), credit(Role.GRANTS, as_amount(500))]
    journal = ledger.record_journal(on=date(2026, 8, 3), narration="Grant", lines=lines, by=by)
    bank_account = BankAccount.objects.get()
    line = bank.record_statement_line(
        bank_account=bank_account, on=date(2026, 8, 3), amount=as_amount(500), text="GRANT", by=by
    )
    entry = JournalEntry.objects.get(source_id=journal.pk, purpose="journal")
    bank.clear(lines=[line], postings=[entry.postings.get(account=bank_account.account)], reasons="seen", by=by)
    with clock.on(NEXT):
        bank.sign_off_month(bank_account=bank_account, until=LAST, statement_balance=as_amount(500), on=NEXT, by=by)
    return following


def reopened(by):
    signed = BankAccount.objects.get().reconciliations.get()
    bank.reopen_month(reconciliation=signed, on=NEXT, reason="to test", by=by)


def unexplained_line(by):
    reopened(by)
    bank.record_statement_line(
        bank_account=BankAccount.objects.get(), on=date(2027, 6, 1), amount=as_amount(-5), text="?", by=by
    )


def in_suspense(by):
    lines = [debit(Role.SUSPENSE, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    ledger.record_journal(on=date(2027, 6, 1), narration="To be found", lines=lines, by=by)


def uncounted_day(by):
    factories.range_day(date(2027, 6, 5))


def open_question(by):
    day = factories.range_day(date(2027, 6, 5))
    rangeday.call_off_day(range_day=day, on=date(2027, 6, 5), reason="rain", by=by)
    tap = Tap.objects.create(range_day=day, tapped_at=clock.now(), recorded_by=by)
    tap.state, tap.question = "question", "who?"
    tap.save(update_fields=["state", "question"])


def unlodged_voucher(by):
    child, on = factories.PersonFactory(), date(2027, 6, 1)
    charge = fees.charge(
        household=child.household, price=factories.price(), on=on, starts_on=on, by=by, person=child
    )  # fmt: skip
    scheme = factories.scheme(values=((2027, "100.00"),))
    fees.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=on, by=by)


def waiting_fee(by):
    home = factories.HouseholdFactory()
    fees.charge(household=home, price=factories.price(), on=date(2027, 5, 1), starts_on=date(2027, 6, 1), by=by)


def undecided_claim(by):
    factories.hire()
    entryfund.record_claim(
        person=factories.PersonFactory(), event=factories.event(held=date(2027, 5, 1)), amount=as_amount(60),
        evidence=examine(io.BytesIO(factories.photo())), on=date(2027, 5, 9), by=by,
    )  # fmt: skip


def undecided_expense(by):
    factories.expense(by=by)


def money_that_lies_still(by):
    savings = Account.objects.create(code="1012", name="Savings", kind="asset", is_money=True)
    before = FinancialYear.objects.create(first_day=date(2025, 7, 1), last_day=date(2026, 6, 30))
    lines = [debit(savings, as_amount(900)), credit(Role.DONATIONS, as_amount(900))]
    ledger.record_journal(on=before.last_day, narration="Given", lines=lines, by=by)
    ledger.close_year(year=before, on=FIRST, by=by)
    BankAccount.objects.create(account=savings, name="Savings")


def money_without_statements(by):
    tin = Account.objects.create(code="1015", name="Petty cash", kind="asset", is_money=True)
    lines = [debit(tin, as_amount(50)), credit(Role.DONATIONS, as_amount(50))]
    ledger.record_journal(on=date(2027, 6, 1), narration="Given for stamps", lines=lines, by=by)


def not_in_the_register(by):
    lines = [debit(Role.EQUIPMENT, as_amount(90)), credit(Role.DONATIONS, as_amount(90))]
    ledger.record_journal(on=date(2027, 6, 1), narration="A butt given", lines=lines, by=by)


def behind_with_depreciation(by):
    bought(by, 100)
    services.add_equipment(
        name="Bows", bought_on=FIRST, cost=as_amount(100), years=5, by=by, fund=Fund.objects.get(pk=FundRole.GENERAL)
    )


def not_undone(by):
    lines = [debit(Role.BANK_FEES, as_amount(3)), credit(Role.OTHER_PAYABLES, as_amount(3))]
    with clock.on(date(2027, 6, 1)):
        ledger.record_journal(
            on=date(2027, 6, 1), narration="Fee due", lines=lines, by=by, reverse_on=date(2027, 6, 20)
        )


def item_of(year, title):
    """What the checklist says about one thing."""
    return next(item for item in checklist.of_year(year) if item.title == title)


class TestClose:
    @pytest.mark.parametrize(
        ("spoil", "title"),
        [
            (reopened, "Every month of the bank is reconciled"),
            (unexplained_line, "Every bank line is explained"),
            (in_suspense, "Nothing stands in suspense"),
            (uncounted_day, "Every range day is closed"),
            (open_question, "Questions from phones are answered"),
            (unlodged_voucher, "Vouchers are settled or carried"),
            (waiting_fee, "Cohorts and memberships that started are income"),
            (undecided_claim, "Entry claims are decided"),
            (undecided_expense, "Volunteers’ expenses are decided"),
            (behind_with_depreciation, "Equipment is depreciated"),
            (not_in_the_register, "The register of equipment agrees with the ledger"),
            (money_that_lies_still, "Every month of the bank is reconciled"),
            (money_without_statements, "Every account of money has statements"),
            (not_undone, "Journals that undo themselves have done so"),
        ],
    )
    def test_it_is_refused_for_each_item_that_is_not_done(self, year, by, spoil, title):
        ready(by)
        with clock.on(NEXT):
            spoil(by)
            with pytest.raises(Refused) as refusal:
                services.close_books(year=year, on=NEXT, by=by)
            open_items = [item for item in checklist.of_year(year) if not item.done]
            assert any(item.title == title and item.url for item in open_items)
        assert any(sentence.startswith(title) for sentence in refusal.value.messages)
        year.refresh_from_db()
        assert not year.is_closed

    def test_it_is_refused_while_the_books_do_not_agree_with_themselves(self, year, by):
        ready(by)
        from clubdesk import guards

        guards.remove(connection)
        with connection.cursor() as cursor:
            cursor.execute("UPDATE ledger_fund SET balance = 100 WHERE code = 'general'")
        guards.install(connection)
        with pytest.raises(Refused, match="check_books"):
            services.close_books(year=year, on=NEXT, by=by)

    def test_it_is_refused_before_the_year_is_over_and_while_the_next_is_not_open(self, year, by):
        with pytest.raises(Refused, match="is not over yet"):
            services.close_books(year=year, on=LAST, by=by)
        with pytest.raises(Refused, match="The next year is open"):
            services.close_books(year=year, on=NEXT, by=by)

    def test_with_everything_done_the_year_closes_once_and_for_good(self, year, by):
        ready(by)
        closed = services.close_books(year=year, on=NEXT, by=by)
        assert closed.is_closed
        assert services.close_books(year=year, on=NEXT, by=by).is_closed
        assert JournalEntry.objects.filter(is_closing=True).count() == 1
        assert sound()

    def test_what_was_parked_and_cleared_after_the_lock_is_carried(self, year, by):
        ready(by)
        with clock.on(NEXT):
            in_suspense(by)
            ledger.lock_month(month_end=LAST, by=by)
            assert not suspense_is_zero(year).done
            lines = [debit(Role.DONATIONS, as_amount(5)), credit(Role.SUSPENSE, as_amount(5))]
            ledger.record_journal(on=NEXT, narration="It was no donation", lines=lines, by=by)
            year.refresh_from_db()
            item = suspense_is_zero(year)
        assert (item.done, item.said) == (
            True, "5.00 in the General fund stood there on 30 Jun 2027; it was cleared after the lock."
        )  # fmt: skip

    def test_a_day_that_was_never_counted_is_counted_after_its_month_was_locked(self, year, by, approver):
        factories.hire()
        day = factories.range_day(date(2027, 6, 5))
        with clock.on(NEXT):
            ledger.open_year(first_day=NEXT, by=by)
            ledger.lock_month(month_end=LAST, by=by)
            count = rangeday.close_day(
                range_day=day, pieces={100: 3}, second_counter=approver, reason="found in the tin", on=NEXT, by=by
            )
        entry = JournalEntry.objects.get(source_type="rangeday.tillcount", source_id=count.pk)
        assert entry.date == NEXT
        assert item_of(year, "Every range day is closed").done
        assert sound()

    def test_each_is_sent_to_whoever_may_put_it_right(self, client, treasurer, auditor, year, by):
        ready(by)
        undecided_claim(by)
        in_suspense(by)
        url = reverse("admin:closing", args=[2027])
        for user, links in ((treasurer, 1), (auditor, 0)):
            client.force_login(user)
            page = client.get(url).content.decode()
            assert page.count(">Put it right<") == links
            assert "This is for an approver to put right." in page

    def test_the_close_says_from_when_it_can_be_done(self, client, treasurer, year):
        client.force_login(treasurer)
        page = client.get(reverse("admin:ledger_financialyear_close", args=[year.pk]), follow=True).content.decode()
        assert "it can be closed from 1 July 2027" in page

    def test_last_years_figures_stay_once_the_year_beside_them_is_closed(self, year, by):
        before, fund = date(2026, 6, 30), Fund.objects.get(pk=FundRole.GENERAL)
        services.set_comparatives(year_end=before, fund=fund, figures={expense("5070"): as_amount(5)}, by=by)
        ready(by)
        services.close_books(year=year, on=NEXT, by=by)
        with pytest.raises(Refused, match="is closed; its statements stay"):
            services.set_comparatives(year_end=before, fund=fund, figures={}, by=by)
        for sql in ("DELETE FROM yearend_comparative", "UPDATE yearend_comparative SET amount = 900"):
            with pytest.raises(IntegrityError, match="stay as they were"), transaction.atomic():
                connection.cursor().execute(sql)
        assert Comparative.objects.count() == 1

    def test_what_is_lodged_is_carried_into_the_next_year(self, year, by):
        ready(by)
        unlodged_voucher(by)
        with clock.on(NEXT):
            fees.lodge_vouchers(scheme=fees.vouchers.VoucherScheme.objects.get(), on=NEXT, by=by)
            item = item_of(year, "Vouchers are settled or carried")
        assert (item.done, item.said) == (True, "100.00 is carried into the next year.")

    def test_what_has_started_is_made_income_from_its_page(self, client, treasurer, year, by):
        ready(by)
        waiting_fee(by)
        client.force_login(treasurer)
        with clock.on(NEXT):
            url = reverse("admin:ledger_financialyear_recognise", args=[year.pk])
            client.post(url, {"key": uuid.uuid4()})
        assert item_of(year, "Cohorts and memberships that started are income").done

    def test_the_page_leads_to_what_is_open_and_to_the_close(self, client, treasurer, coordinator, year, by):
        ready(by)
        in_suspense(by)
        client.force_login(treasurer)
        with clock.on(NEXT):
            page = client.get(reverse("admin:closing", args=[2027]), {"books": 1}).content.decode()
            assert page.count(">Put it right<") == 1
            url = reverse("admin:ledger_financialyear_close", args=[year.pk])
            assert url in page
            refused = client.post(url, {"key": uuid.uuid4(), "sure": "on"})
            assert refused.status_code == 422
            assert "Nothing stands in suspense" in refused.content.decode()
        client.force_login(coordinator)
        assert client.get(reverse("admin:closing", args=[2027])).status_code == 403
        assert client.get(reverse("admin:closing", args=[2040])).status_code in (403, 404)
