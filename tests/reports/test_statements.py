"""Statements of any days and fund on both bases, and the bridge between them."""

import random
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock, guards
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Allocation, FeeKind, FeeShare, Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, JournalEntry, Kind, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account
from clubdesk.money import as_amount
from clubdesk.reports import statements, tracing
from clubdesk.reports.models import MonthTrace
from clubdesk.reports.papers import CommitteeAsked, StatementsAsked
from clubdesk.reports.selectors import Figures, a_year_earlier, lines_of_account, year_before
from clubdesk.yearend import services as yearend
from tests import factories
from tests.papers import words_of
from tests.reports import bridge
from tests.reports.reading import figures_of

pytestmark = pytest.mark.django_db
SIZES = ("season", "season_50")
JULY, LAST = date(2026, 7, 1), date(2027, 6, 30)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def household(book):
    return factories.HouseholdFactory()


def test_the_published_subscriptions_come_from_money_to_income(book, by):
    """Source: the textbook example of a football club's subscriptions, year to 31 December 2014 (outside checks):

    owing at the start 64, in advance at the start 31, received 397, owing at the end 95, in advance at the end 42:
    income 417. The year here is the book's own; the figures are the source's.
    """
    home, price = factories.HouseholdFactory(), factories.price(FeeKind.MEMBERSHIP, "1.00", Role.MEMBERSHIPS)
    ledger.open_year(first_day=date(2027, 7, 1), by=by)
    ledger.open_year(first_day=date(2028, 7, 1), by=by)
    first, last = date(2027, 7, 1), date(2028, 6, 30)

    def subscription(amount, on, starts_on, paid_on=None):
        with clock.on(on):
            charge = fees.charge(
                household=home, price=price, on=on, starts_on=starts_on, by=by, amount=as_amount(amount), shares=[]
            )
        if paid_on:
            pay(charge, amount, paid_on)
        return charge

    def pay(charge, amount, on):
        fees.record_receipt(household=home, amount=as_amount(amount), method=Method.TRANSFER, on=on, by=by,
                            charges=[charge])  # fmt: skip

    owing = subscription(64, date(2027, 5, 1), date(2027, 5, 1))
    subscription(31, date(2027, 6, 1), date(2027, 9, 1), paid_on=date(2027, 6, 2))
    pay(owing, 64, date(2027, 8, 1))
    subscription(291, date(2027, 9, 1), date(2027, 9, 1), paid_on=date(2027, 9, 9))
    subscription(42, date(2028, 6, 1), date(2028, 7, 15), paid_on=date(2028, 6, 3))
    subscription(95, date(2028, 3, 1), date(2028, 3, 1))
    for day in (date(2027, 9, 1), date(2028, 6, 30)):
        fees.recognise_due(on=day, by=by)
    clock.set_today(date(2028, 7, 1))
    found = figures_of(statements.bridge_of_line(Figures(first, last), account(Role.MEMBERSHIPS)))
    assert found == {
        "Money received, less paid back": [Decimal("397.00")],
        "Fees owed on 1 Jul 2027, at the start": [Decimal("-64.00")],
        "Fees owed on 30 Jun 2028, at the end": [Decimal("95.00")],
        "Fees in advance on 1 Jul 2027, at the start": [Decimal("31.00")],
        "Fees in advance on 30 Jun 2028, at the end": [Decimal("-42.00")],
        "By this bridge": [Decimal("417.00")],
        "By the ledger, accrual basis": [Decimal("417.00")],
        "Difference": [Decimal("0.00")],
    }


def test_each_basis_has_what_the_act_asks_for(book, by):
    """Source: Associations Incorporation Act 2015 (WA) s 68."""
    now = Figures(JULY, LAST)
    titles = {basis: [each.title for each in statements.of_basis(basis, now)] for basis in statements.BASES}
    assert titles["cash"] == ["Receipts and payments", "Money, reconciled", "Assets and liabilities"]
    assert titles["accrual"] == ["Income and expenditure", "Balance sheet", "Movement of the funds"]


class TestWhatMoneyWasFor:
    def test_a_receipt_is_for_the_fee_that_it_pays_and_before_that_a_familys_credit(self, household, by):
        courses, hire = factories.price(), factories.price(FeeKind.HIRE, "70.00", Role.HIRE)
        fees.record_receipt(household=household, amount=as_amount(196), method=Method.CARD, on=date(2026, 7, 5), by=by)
        fees.charge(household=household, price=courses, on=date(2026, 8, 1), starts_on=date(2026, 8, 1), by=by)
        fees.charge(household=household, price=hire, on=date(2026, 9, 1), starts_on=date(2026, 9, 1), by=by)
        for last, ahead, course, hired in (
            (date(2026, 7, 31), 196, 0, 0), (date(2026, 8, 31), 70, 126, 0), (date(2026, 9, 30), 0, 126, 70),
        ):  # fmt: skip
            now = Figures(JULY, last)
            cash = [now.cash(account(role)) for role in (Role.FEES_OWED, Role.COURSES, Role.HIRE)]
            assert cash == [ahead, course, hired], last
            assert bridge.gaps(JULY, last) == []

    def test_what_an_earlier_day_said_stays_when_the_money_pays_something_else_later(self, household, by):
        courses, hire = factories.price(), factories.price(FeeKind.HIRE, "126.00", Role.HIRE)
        on = date(2026, 7, 5)
        charge = fees.charge(household=household, price=courses, on=on, starts_on=on, by=by)
        fees.record_receipt(household=household, amount=as_amount(126), method=Method.CASH, on=on, by=by)
        fees.credit_charge(charge=charge, on=date(2026, 8, 10), reason="moved away", by=by)
        fees.charge(household=household, price=hire, on=date(2026, 9, 1), starts_on=date(2026, 9, 1), by=by)
        told = [
            [Figures(first, last).cash(account(role)) for role in (Role.COURSES, Role.FEES_OWED, Role.HIRE)]
            for first, last in bridge.months(JULY, date(2026, 9, 30))
        ]
        assert told == [[126, 0, 0], [-126, 126, 0], [0, -126, 126]]
        assert Allocation.objects.count() == 2
        assert sound()

    def test_a_fee_written_back_to_an_earlier_day_does_not_use_the_same_money_twice(self, household, by):
        courses, hire = factories.price(), factories.price(FeeKind.HIRE, "126.00", Role.HIRE)
        on = date(2026, 7, 5)
        charge = fees.charge(household=household, price=courses, on=on, starts_on=on, by=by)
        fees.record_receipt(household=household, amount=as_amount(126), method=Method.CASH, on=on, by=by)
        fees.credit_charge(charge=charge, on=date(2026, 8, 10), reason="moved away", by=by)
        fees.charge(household=household, price=hire, on=date(2026, 7, 20), starts_on=date(2026, 7, 20), by=by)
        july = Figures(JULY, date(2026, 7, 31))
        assert [july.cash(account(role)) for role in (Role.COURSES, Role.HIRE, Role.FEES_OWED)] == [126, 0, 0]
        assert bridge.gaps(JULY, date(2026, 7, 31)) == []

    def test_a_voucher_is_money_for_the_fee_once_the_department_pays(self, household, by):
        scheme = factories.scheme()
        child = factories.PersonFactory(household=household)
        price, on = factories.price(), date(2026, 7, 5)
        charge = fees.charge(household=household, price=price, on=on, starts_on=on, by=by, person=child)
        fees.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=on, by=by)
        lodged = fees.lodge_vouchers(scheme=scheme, on=date(2026, 8, 1), by=by)
        voucher = lodged.vouchers.get()
        fees.answer_lodgement(
            lodgement=lodged, paid={voucher.pk: as_amount(80)}, refused={}, on=date(2026, 9, 1), by=by
        )
        july, september = Figures(JULY, date(2026, 7, 31)), Figures(JULY, date(2026, 9, 30))
        courses = account(Role.COURSES)
        assert (july.cash(courses), july.trace(courses, account(Role.VOUCHERS_OWED).pk)) == (0, 100)
        assert (september.cash(courses), september.cash(account(Role.VOUCHERS_OWED))) == (80, 0)
        assert bridge.gaps(date(2026, 9, 1), date(2026, 9, 30)) == []

    def test_a_share_of_another_account_is_named_between_the_lines(self, household, by):
        price = factories.price()
        FeeShare.objects.create(price=price, account=account(Role.VISITORS), amount=as_amount(26))
        on = date(2026, 7, 5)
        fees.charge(household=household, price=price, on=on, starts_on=on, by=by)
        now = Figures(JULY, LAST)
        between = [now.trace(account(role), tracing.BETWEEN) for role in (Role.COURSES, Role.VISITORS)]
        assert between == [-26, 26]
        assert bridge.gaps(JULY, LAST) == []

    def test_balances_brought_in_are_no_money_until_they_are_paid_and_then_of_what_they_were_for(self, by, household):
        other = factories.HouseholdFactory()
        price = factories.price()
        items = [factories.open_item(household, 50, Role.MEMBERSHIPS), factories.open_item(other, -30, None)]
        fees.bring_in_balances(items=items, by=by)
        fees.charge(household=other, price=price, on=date(2026, 8, 1), starts_on=date(2026, 8, 1), by=by)
        fees.record_receipt(household=household, amount=as_amount(50), method=Method.CARD, on=date(2026, 8, 2), by=by)
        now = Figures(JULY, LAST)
        assert [now.cash(account(role)) for role in (Role.ACCUMULATED, Role.COURSES, Role.MEMBERSHIPS)] == [0, 0, 50]
        assert now.trace(account(Role.COURSES), tracing.BETWEEN) == 30
        for first, last in bridge.months(JULY, date(2026, 9, 30)):
            assert bridge.gaps(first, last) == []

    def test_the_allocations_of_a_locked_month_are_history(self, household, by):
        on = date(2026, 7, 5)
        charge = fees.charge(household=household, price=factories.price(), on=on, starts_on=on, by=by)
        receipt = fees.record_receipt(household=household, amount=as_amount(126), method=Method.CARD, on=on, by=by)
        ledger.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        with pytest.raises(Refused, match="locked month"):
            fees.pay_with(receipt=receipt, charges=[charge], on=date(2026, 7, 31), by=by)
        for sql, sentence in (
            ("UPDATE fees_allocation SET freed_on = '2026-07-30'", "in a locked month"),
            ("DELETE FROM fees_allocation", "history; it is never deleted"),
        ):
            with pytest.raises(IntegrityError, match=sentence), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(sql)


class TestStoredMonths:
    def test_figures_are_the_same_before_and_after_a_month_is_locked(self, season, by):
        day = date(2026, 9, 12)
        before = {last: tracing.traced(last) for last in (date(2026, 7, 31), date(2026, 8, 31), day)}
        ledger.lock_month(month_end=date(2026, 8, 31), reason="a test", by=by)
        assert MonthTrace.objects.values("month_end").distinct().count() == 2
        assert {last: tracing.traced(last) for last in before} == before
        assert sound()

    def test_a_stored_figure_changed_behind_the_books_is_named(self, season, by):
        ledger.lock_month(month_end=date(2026, 8, 31), reason="a test", by=by)
        last = MonthTrace.objects.filter(month_end=date(2026, 8, 31))
        for rows, named in ((MonthTrace.objects.exclude(pk__in=last), "July"), (last, "August")):
            guards.remove(connection)
            rows.filter(what="cash").update(amount=as_amount(1))
            guards.install(connection)
            said = [fault for result in check_all() for fault in result.faults]
            assert any(f"{named} 2026 is not what the postings" in fault for fault in said)
        assert any("lies between cash and accrual without a reason" in fault for fault in said)

    @pytest.mark.parametrize("table", ["reports_monthtrace", "ledger_monthbalance"])
    def test_what_is_stored_of_a_locked_month_stays(self, season, by, table):
        year = FinancialYear.objects.get()
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        ledger.close_year(year=year, on=date(2027, 7, 1), by=by)
        columns = "month_end, fund_id, account_id, balance, closing"
        if table == "reports_monthtrace":
            columns = "month_end, fund_id, line_id, what, amount"
        for sql in (
            f"UPDATE {table} SET month_end = '2026-07-31'",
            f"DELETE FROM {table}",
            f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {table}",
        ):
            with pytest.raises(IntegrityError, match="stored"), transaction.atomic():
                connection.cursor().execute(sql)

    def test_a_page_of_a_locked_span_reads_no_posting(self, season, by, django_assert_max_num_queries):
        ledger.lock_month(month_end=date(2026, 8, 31), reason="a test", by=by)
        with django_assert_max_num_queries(3):
            tracing.traced(date(2026, 8, 31))


class TestSpans:
    def test_of_one_fund_and_of_one_month(self, season):
        entry = Fund.objects.get(pk=FundRole.ENTRY)
        whole, months = Figures(JULY, date(2026, 9, 30), entry), bridge.months(JULY, date(2026, 9, 30))
        parts = [Figures(first, last, entry) for first, last in months]
        assert sum(part.surplus() for part in parts) == whole.surplus() != Figures(JULY, date(2026, 9, 30)).surplus()
        for first, last in months:
            assert bridge.gaps(first, last) == bridge.gaps(first, last, entry) == []
        for basis in statements.BASES:
            tables = statements.of_basis(basis, whole)
            assert tables
            assert [each for each in tables if "Total" in each.columns] == []

    def test_the_year_before_of_a_day_is_the_same_end_of_month(self):
        assert year_before(date(2028, 2, 29)) == date(2027, 2, 28)
        assert year_before(date(2029, 2, 28)) == date(2028, 2, 29)
        assert year_before(date(2026, 11, 25)) == date(2025, 11, 25)

    def test_last_years_typed_figures_stand_beside_for_a_club_that_begins_here(self, by):
        general = Fund.objects.get(pk=FundRole.GENERAL)
        chart = {each.role or each.code: each for each in Account.objects.all()}
        typed = {chart[Role.MEMBERSHIPS]: 7392, chart["5070"]: 2875, chart[Role.BANK]: 9000,
                 chart[Role.DEPRECIATED]: 640, chart[Role.FEES_IN_ADVANCE]: 500}  # fmt: skip
        figures = {each: as_amount(value) for each, value in typed.items()}
        yearend.set_comparatives(year_end=date(2026, 6, 30), fund=general, figures=figures, by=by)
        now = Figures.of_year(FinancialYear.objects.get())
        income, sheet, _ = statements.of_basis("accrual", now)
        assert income.columns[-1] == "Last year"
        assert figures_of(income)["Surplus (deficit)"][-1] == 7392 - 2875
        assert figures_of(sheet)["Net assets"][-1] == 9000 - 640 - 500
        lines = [debit(Role.BANK, as_amount(70)), credit(Role.ACCUMULATED, as_amount(70))]
        ledger.record_opening(narration="From the paper books", lines=lines, by=by)
        _, sheet, _ = statements.of_basis("accrual", Figures.of_year(FinancialYear.objects.get()))
        assert figures_of(sheet)["Net assets"][-1] == 70, "what was brought in, not what was printed"
        assert a_year_earlier(Figures(JULY, date(2026, 7, 31))) is None
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        with pytest.raises(Refused, match="has the year to 30 Jun 2027 itself"):
            yearend.set_comparatives(year_end=date(2027, 6, 30), fund=general, figures=figures, by=by)

    def test_money_of_a_fund_below_nil_is_explained(self, by):
        other = Fund.objects.create(code="travel", name="Travel fund")
        lines = [debit(Role.TILL, as_amount(5), fund=other), credit(Role.BANK, as_amount(5), fund=other)]
        ledger.record_journal(on=date(2026, 8, 1), narration="Change fetched", lines=lines, by=by)
        now = Figures(JULY, date(2026, 8, 31), other)
        assert "Money below 0.00" in statements.balance_sheet(now, None).note
        assert "Money below 0.00" not in statements.balance_sheet(Figures(JULY, date(2026, 8, 31)), None).note


class TestAnAccountsLines:
    def test_they_come_to_the_figure_of_the_statement_that_leads_to_them(self, client, treasurer, season):
        client.force_login(treasurer)
        first, last = date(2026, 8, 1), date(2026, 9, 12)
        now = Figures(first, last)
        for each in Account.objects.exclude(kind="equity"):
            lines = lines_of_account(each, first, last)
            yearly = each.kind in ("income", "expense")
            assert lines.closing == (now.moved(each) if yearly else now.closing(each)), each
        asked = f"since={first}&until={last}&basis=accrual"
        page = client.get(f"{reverse('admin:period_statements')}?{asked}").content.decode()
        earned = next(each for each in now.of_kind("income") if now.moved(each))
        link = f"{reverse('admin:account_lines', args=[earned.code])}?since={first}&amp;until={last}&amp;fund="
        assert link in page
        shown = client.get(link.replace("&amp;", "&")).content.decode()
        entry = JournalEntry.objects.filter(postings__account=earned, date__gte=first).first()
        assert reverse("admin:ledger_journalentry_change", args=[entry.pk]) in shown

    def test_only_who_reads_the_ledger_opens_them_and_odd_ones_are_named(self, client, coordinator, auditor):
        url = reverse("admin:account_lines", args=["4010"])
        client.force_login(coordinator)
        assert client.get(url).status_code == 403
        client.force_login(auditor)
        assert client.get(url).status_code == 200
        assert client.get(reverse("admin:account_lines", args=["0000"])).status_code == 404
        assert "errorlist" in client.get(f"{url}?since=x").content.decode()

    @pytest.mark.parametrize("size", [pytest.param(name, marks=pytest.mark.world(name)) for name in SIZES])
    def test_their_page_asks_no_more_of_a_large_book(self, client, treasurer, size, django_assert_max_num_queries):
        client.force_login(treasurer)
        url = reverse("admin:account_lines", args=["1100"])
        client.get(url)
        with django_assert_max_num_queries(14):
            client.get(url)


def test_random_months_close_their_bridge_with_every_kind_of_journal(by):
    """Random balanced journals over every account that a hand may touch: the bridge closes to 0.00 in every month."""
    chance = random.Random(11)
    accounts = list(Account.objects.exclude(needs_party=True).exclude(kind=Kind.EQUITY))
    funds = [Fund.objects.get(pk=FundRole.GENERAL)] * 3 + [Fund.objects.create(code="travel", name="Travel fund")]
    written = []
    for _ in range(120):
        on, fund = date(2026, chance.randint(7, 9), chance.randint(1, 28)), chance.choice(funds)
        chosen = chance.sample(accounts, chance.randint(2, 5))
        amounts = [chance.randint(-9999, 9999) for _ in chosen[1:]]
        cents = [-sum(amounts), *amounts]
        lines = [
            (debit if each > 0 else credit)(to, as_amount(Decimal(abs(each)) / 100), fund=fund)
            for to, each in zip(chosen, cents, strict=True)
            if each
        ]
        if len(lines) > 1:
            written.append(ledger.record_journal(on=on, narration="x", lines=lines, by=by))
    for journal in chance.sample(written, 20):
        ledger.undo_entries_of(document=journal, on=date(2026, 9, 29), reason="wrong", by=by)
    for first, last in bridge.months(JULY, date(2026, 9, 30)):
        assert bridge.gaps(first, last) == []
        assert bridge.gaps(first, last, funds[-1]) == []
    assert sound()


class TestPages:
    @pytest.fixture
    def as_treasurer(self, client, treasurer, season):
        client.force_login(treasurer)
        return client

    @pytest.mark.parametrize("basis", statements.BASES)
    def test_each_basis_opens_for_the_year_and_for_other_days(self, as_treasurer, basis):
        url = reverse("admin:statements", args=[2027])
        assert as_treasurer.get(f"{url}?basis={basis}").status_code == 200
        asked = {"since": "2026-07-01", "until": "2026-08-31", "fund": "entry", "basis": basis}
        page = as_treasurer.get(reverse("admin:period_statements"), asked)
        assert "1 July 2026 to 31 August 2026, Entry fund" in page.content.decode()
        printed = as_treasurer.get(reverse("admin:period_statements"), {**asked, "pdf": 1})
        assert "Not closed; entry" in words_of(printed.content)

    def test_odd_days_are_named_and_nothing_breaks(self, as_treasurer):
        for asked in ({"since": "2026-09-01", "until": "2026-08-01"}, {"since": "x", "until": "2026-08-01"},
                      {"since": "2026-07-01", "until": "2026-08-01", "fund": "none"}, {}):  # fmt: skip
            page = as_treasurer.get(reverse("admin:period_statements"), asked)
            assert page.status_code == 200
            assert "errorlist" in page.content.decode()
        far = as_treasurer.get(reverse("admin:period_statements"), {"since": "1990-01-01", "until": "2099-12-31"})
        assert far.status_code == 200

    def test_one_line_from_its_money_to_its_accrual_figure(self, as_treasurer):
        url = f"{reverse('admin:statements', args=[2027])}?basis=bridge&line="
        assert "Money received, less paid back" in as_treasurer.get(f"{url}4010").content.decode()
        assert as_treasurer.get(f"{url}9999").status_code == 200

    def test_every_page_of_a_closed_years_statements_carries_the_seal(self, book, by):
        lines = [debit(Role.BANK, as_amount(10)), credit(Role.DONATIONS, as_amount(10))]
        ledger.record_journal(on=date(2026, 9, 1), narration="Raffle", lines=lines, by=by)
        year = ledger.close_year(year=FinancialYear.objects.get(), by=by, on=date(2027, 7, 1))
        digest = year.entries.order_by("-number").first().digest.upper()
        seal = f"Sealed {digest[:4]}-{digest[4:8]}-{digest[8:12]}"
        for basis in statements.BASES:
            words = words_of(StatementsAsked(basis, JULY, LAST).pdf(date(2027, 7, 1)))
            assert seal in words

    def test_the_committees_page_is_one_sheet_of_a4(self, as_treasurer):
        from pypdf import PdfReader

        content = CommitteeAsked(JULY, date(2026, 9, 12)).pdf(date(2026, 9, 12))
        import io

        pages = PdfReader(io.BytesIO(content)).pages
        assert len(pages) == 1
        assert [round(float(side)) for side in pages[0].mediabox[2:]] == [595, 842]
        for asked in ("", "?month=2026-08", "?year=2027"):
            page = as_treasurer.get(reverse("admin:committee") + asked)
            assert page.content.decode().count("<figure") == 3
        assert as_treasurer.get(reverse("admin:committee") + "?month=1066-10").status_code == 404


def test_what_a_year_that_is_not_over_says_of_its_end_is_told_so_far(book, by):
    year = FinancialYear.objects.get()
    so_far = statements.receipts_and_payments(Figures.of_year(year), None)
    assert "Money in hand so far" in [line.label for line in so_far.rows]
    clock.set_today(year.last_day)
    whole = statements.receipts_and_payments(Figures.of_year(year), None)
    assert "Money in hand on 30 Jun 2027" in [line.label for line in whole.rows]
