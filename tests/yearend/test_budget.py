"""The budget of a year, by account and month."""

import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Fund, FundRole, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.yearend import selectors, services
from clubdesk.yearend.forms import seen_plan
from clubdesk.yearend.models import BudgetMonth
from tests.yearend.books import FIRST, LAST, NEXT, expense

pytestmark = pytest.mark.django_db


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

    def test_each_year_has_its_own(self, year, by):
        following = ledger.open_year(first_day=NEXT, by=by)
        for each, first, amount in ((year, FIRST, 12), (following, NEXT, 24)):
            services.set_budget(year=each, account=expense("5070"), months={first: as_amount(amount)}, by=by)
        assert selectors.budget_by_month(year) == {expense("5070").pk: {FIRST: 12}}
        assert selectors.budget_by_month(following) == {expense("5070").pk: {NEXT: 24}}

    def test_what_last_years_statements_printed_stands_beside_it_in_equal_months(self, year, by):
        general, entry = (Fund.objects.get(pk=each) for each in (FundRole.GENERAL, FundRole.ENTRY))
        for year_end, fund, code, amount in (
            (date(2026, 6, 30), general, "5070", 60), (date(2026, 6, 30), entry, "5070", 40),
            (date(2026, 6, 30), general, "1010", 900), (date(2025, 6, 30), general, "5070", 7),
        ):  # fmt: skip
            kept = {row.account: row.amount for row in selectors.comparatives(year_end) if row.fund == fund}
            figures = {**kept, expense(code): as_amount(amount)}
            services.set_comparatives(year_end=year_end, fund=fund, figures=figures, by=by)
        months = [date(2025, 7 + each, 1) for each in range(6)] + [date(2026, 1 + each, 1) for each in range(6)]
        found = selectors.printed_by_month(months)
        assert list(found) == [expense("5070").pk], "what stands in the bank is no income and no expense"
        assert list(found[expense("5070").pk].values()) == [Decimal("8.34")] * 4 + [Decimal("8.33")] * 8

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
            ("5070", FIRST, -5, "not below 0.00"),
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
        assert "−$1,200.00" in page
        shown = client.get(f"{url}?account={expense('5070').pk}").content.decode()
        assert shown.count('value="100.00"') == 12
        assert "Budget" in client.get(reverse("admin:statements", args=[2027])).content.decode()
