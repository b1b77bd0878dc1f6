"""The year's end: budget, adjustments, the register, and a close that proves itself item by item."""

import io
import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.entryfund import services as entryfund
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.fees import services as fees
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, Journal, JournalEntry, JournalOrigin, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Tap
from clubdesk.yearend import checklist, selectors, services
from clubdesk.yearend.models import BudgetMonth, DepreciationLine, Equipment
from tests import factories

pytestmark = pytest.mark.django_db
FIRST, LAST, NEXT = date(2026, 7, 1), date(2027, 6, 30), date(2027, 7, 1)


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
        for sql in ("DELETE FROM yearend_budgetmonth", "UPDATE yearend_budgetmonth SET amount = 9"):
            with pytest.raises(IntegrityError, match="stays as it was"), transaction.atomic():
                connection.cursor().execute(sql)

    def test_an_accounts_year_is_typed_on_a_page(self, client, treasurer, year):
        client.force_login(treasurer)
        url = reverse("admin:ledger_financialyear_budget", args=[year.pk])
        form = {"key": uuid.uuid4(), "account": expense("5070").pk, "whole": "1200"}
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
            services.provide(wanted=as_amount(wanted), fund=general, on=date(2026, 9, 1), narration="Doubtful", by=by)
            assert balance(Role.ALLOWANCE, date(2026, 9, 1)) == -wanted
        assert balance(Role.FEES_OWED, date(2026, 9, 1)) == 126
        assert sound()

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
        assert selectors.to_depreciate(bows, date(2040, 6, 30)) == as_amount(600)
        assert sound()

    def test_odd_cents_come_out_even_over_its_years(self, general, by):
        thing = services.add_equipment(
            name="Butt", bought_on=FIRST, cost=as_amount("100.00"), years=3, fund=general, by=by
        )
        lost = []
        for month in range(36):
            until = selectors.month_end(date(2026 + (6 + month) // 12, (6 + month) % 12 + 1, 1))
            so_far = selectors.to_depreciate(thing, until).amount
            lost.append(so_far - sum(lost))
        assert sum(lost) == 100
        assert set(map(str, lost)) == {"2.77", "2.78"}

    def test_a_reversed_depreciation_is_posted_again(self, bows, by):
        journal = services.depreciate(until=date(2026, 8, 31), by=by)
        ledger.undo_entries_of(document=journal, on=date(2026, 8, 31), reason="too early", by=by)
        with pytest.raises((Refused, IntegrityError)), transaction.atomic():
            DepreciationLine.objects.update(amount=1)
        assert selectors.to_depreciate(bows, date(2026, 8, 31)) == as_amount(50)
        services.depreciate(until=date(2026, 9, 30), by=by)
        assert balance(Role.DEPRECIATED, date(2026, 9, 30)) == -75
        assert sound()

    def test_what_is_gone_leaves_its_worth_as_a_loss(self, bows, by):
        services.depreciate(until=date(2026, 8, 31), by=by)
        services.dispose(equipment=bows, on=date(2026, 9, 5), reason="broken", by=by)
        services.dispose(equipment=bows, on=date(2026, 9, 6), reason="again", by=by)
        figures = [balance(role, date(2026, 9, 12)) for role in (Role.EQUIPMENT, Role.DEPRECIATED, Role.DEPRECIATION)]
        assert figures == [0, 0, 1000]
        assert sound()

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
                journal=journal, equipment=bows, until=date(2026, 9, 30), amount=as_amount("850.01")
            )
        for sql in ("UPDATE yearend_equipment SET cost = 2000", "DELETE FROM yearend_equipment",
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
    Tap.objects.create(range_day=day, tapped_at=clock.now(), state="question", recorded_by=by, question="who?")


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


def behind_with_depreciation(by):
    services.add_equipment(
        name="Bows", bought_on=FIRST, cost=as_amount(100), years=5, by=by, fund=Fund.objects.get(pk=FundRole.GENERAL)
    )


def not_undone(by):
    lines = [debit(Role.BANK_FEES, as_amount(3)), credit(Role.OTHER_PAYABLES, as_amount(3))]
    with clock.on(date(2027, 6, 1)):
        ledger.record_journal(
            on=date(2027, 6, 1), narration="Fee due", lines=lines, by=by, reverse_on=date(2027, 6, 20)
        )


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
            cursor.execute("UPDATE ledger_fund SET balance = 1 WHERE code = 'general'")
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

    def test_what_is_lodged_is_carried_into_the_next_year(self, year, by):
        ready(by)
        unlodged_voucher(by)
        with clock.on(NEXT):
            fees.lodge_vouchers(scheme=fees.vouchers.VoucherScheme.objects.get(), on=NEXT, by=by)
            item = checklist.vouchers_settled_or_carried(year)
        assert (item.done, item.said) == (True, "100.00 is carried into the next year.")

    def test_what_has_started_is_made_income_from_its_page(self, client, treasurer, year, by):
        ready(by)
        waiting_fee(by)
        client.force_login(treasurer)
        with clock.on(NEXT):
            url = reverse("admin:ledger_financialyear_recognise", args=[year.pk])
            client.post(url, {"key": uuid.uuid4()})
        assert checklist.started_fees_are_income(year).done

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
