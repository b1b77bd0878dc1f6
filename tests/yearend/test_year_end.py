"""The close of a year, which proves itself item by item."""

import io
import uuid
from datetime import date

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
from clubdesk.ledger.closing import suspense_is_zero
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Tap
from clubdesk.yearend import checklist, services
from clubdesk.yearend.models import Comparative
from tests import factories
from tests.yearend.books import FIRST, LAST, NEXT, bought, expense, ready, sound

pytestmark = pytest.mark.django_db


def reopened(by):
    signed = BankAccount.objects.get().reconciliations.latest("month_end")
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
            (unexplained_line, "Every bank line is matched"),
            (in_suspense, "Nothing stands in suspense"),
            (uncounted_day, "Every range day is closed"),
            (open_question, "Questions from phones are answered"),
            (unlodged_voucher, "Vouchers are settled or carried"),
            (waiting_fee, "Cohorts and memberships that started are income"),
            (undecided_claim, "Refund requests are decided"),
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

    def test_a_year_is_over_on_the_day_after_its_last(self, year):
        assert [checklist.is_over(year, day) for day in (LAST, NEXT)] == [False, True]

    def test_with_everything_done_the_year_closes_once_and_for_good(self, year, by):
        ready(by)
        closed = services.close_books(year=year, on=NEXT, by=by)
        assert closed.is_closed
        assert services.close_books(year=year, on=NEXT, by=by).is_closed
        assert JournalEntry.objects.filter(is_closing=True).count() == 1
        assert sound()

    def test_a_year_that_is_closed_stays_so_whatever_its_checklist_says_later(self, year, by):
        ready(by)
        services.close_books(year=year, on=NEXT, by=by)
        with clock.on(NEXT):
            reopened(by)
            assert not all(item.done for item in checklist.of_year(year))
            assert services.close_books(year=year, on=NEXT, by=by).is_closed

    def test_what_was_parked_and_cleared_after_the_lock_is_carried(self, year, by):
        ready(by)
        with clock.on(NEXT):
            in_suspense(by)
            ledger.lock_month(month_end=LAST, reason="a test", by=by)
            assert not suspense_is_zero(year).done
            lines = [debit(Role.DONATIONS, as_amount(5)), credit(Role.SUSPENSE, as_amount(5))]
            ledger.record_journal(on=NEXT, narration="It was no donation", lines=lines, by=by)
            year.refresh_from_db()
            item = suspense_is_zero(year)
        assert (item.done, item.said) == (
            True, "$5.00 in the General fund stood there on 30 Jun 2027; it was cleared after the lock."
        )  # fmt: skip

    def test_a_day_that_was_never_counted_is_counted_after_its_month_was_locked(self, year, by, approver):
        factories.hire()
        day = factories.range_day(date(2027, 6, 5))
        with clock.on(NEXT):
            ledger.open_year(first_day=NEXT, by=by)
            ledger.lock_month(month_end=LAST, reason="a test", by=by)
            count = rangeday.close_day(
                range_day=day, pieces={100: 3}, second_counter=approver, reason="found in the cash box", on=NEXT, by=by
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
        assert (item.done, item.said) == (True, "$100.00 is carried into the next year.")

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
        assert client.get(reverse("admin:closing", args=[2040])).status_code == 403
