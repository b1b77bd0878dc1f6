"""A month locked though it is not proven, and one that was locked by mistake: who says so, and what stays of it."""

import io
import uuid
from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from openpyxl import load_workbook

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.errors import Refused
from clubdesk.ledger import services
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear, MonthBalance, MonthLock, MonthUnlock, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance, trial_balance
from clubdesk.ledger.services import lock_month
from clubdesk.money import as_amount
from clubdesk.reports.tracing import stored_months
from clubdesk.reports.workbook import workbook_bytes

pytestmark = pytest.mark.django_db
JULY, AUGUST, SEPTEMBER = date(2026, 7, 31), date(2026, 8, 31), date(2026, 9, 30)
NOW = date(2026, 10, 5)
WHY = "the bank sends its statement late"


def unsound():
    return [(result.name, result.faults) for result in check_all() if result.faults]


@pytest.fixture(autouse=True)
def in_october(today):
    with clock.on(NOW):
        yield


@pytest.fixture
def year(book):
    return FinancialYear.objects.get()


@pytest.fixture
def given(by):
    def donated(amount, on=date(2026, 8, 9), into=Role.BANK):
        lines = [debit(into, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
        return services.record_journal(on=on, narration="Given", lines=lines, by=by)

    return donated


@pytest.fixture
def locked(given, by):
    """July to September, of which the bank was never asked."""
    given(100)
    return lock_month(month_end=SEPTEMBER, reason=WHY, by=by)


@pytest.fixture
def ask(treasurer, year):
    def asked(month_end=AUGUST, by=treasurer, **more):
        return services.ask_to_unlock(
            year=year, month_end=month_end, reason="a bill was forgotten", on=NOW, by=by, **more
        )

    return asked


class TestAMonthThatIsNotProven:
    def test_it_is_locked_only_with_a_reason_which_is_kept_with_what_it_lacked(self, given, by):
        given(100)
        with pytest.raises(
            Refused, match="Club account: August 2026 not signed off.*say why it is locked all the same"
        ):
            lock_month(month_end=AUGUST, by=by)
        lock_month(month_end=AUGUST, reason=WHY, by=by)
        lock = MonthLock.objects.get()
        assert (lock.reason, lock.lacking) == (WHY, "Club account: August 2026 not signed off")
        assert (lock.locked_on, lock.recorded_by) == (NOW, by)

    def test_one_that_is_signed_off_asks_for_none_and_keeps_none(self, given, by, year):
        given(100)
        line = bank.record_statement_line(
            bank_account=BankAccount.objects.get(), on=date(2026, 8, 9), amount=as_amount(100), text="GIVEN", by=by
        )
        posting = BankAccount.objects.get().account.postings.get()
        bank.explain_line(line=line, posting=posting, by=by)
        bank.sign_off_month(
            bank_account=BankAccount.objects.get(), until=AUGUST, statement_balance=as_amount(100), on=NOW, by=by
        )
        lock_month(month_end=AUGUST, reason="not needed", by=by)
        assert (MonthLock.objects.get().reason, MonthLock.objects.get().lacking) == ("", "")

    def test_the_database_keeps_no_lock_of_it_without_a_reason(self, year, by):
        with pytest.raises(IntegrityError, match="unproven_lock_has_a_reason"), transaction.atomic():
            MonthLock.objects.create(year=year, month_end=JULY, locked_on=NOW, lacking="July", recorded_by=by)

    def test_the_page_says_what_is_not_proven_and_what_that_means_before_it_is_locked(
        self, given, year, client, treasurer
    ):
        given(100)
        client.force_login(treasurer)
        url = reverse("admin:ledger_financialyear_lock", args=[year.pk])
        page = client.get(url).content.decode()
        assert "Club account: August 2026 to September 2026 not signed off" in page
        assert "can only be recorded in a later one" in page
        sent = {"key": uuid.uuid4(), "month_end": "2026-08-31"}
        refused = client.post(url, sent)
        assert refused.status_code == 422
        assert "say why it is locked all the same" in refused.content.decode()
        assert client.post(url, sent | {"reason": WHY}).status_code == 302
        assert MonthLock.objects.get().reason == WHY


class TestAMonthLockedByMistake:
    def test_one_asks_and_another_agrees_and_every_later_month_is_open_again(
        self, locked, ask, treasurer, approver, year, given
    ):
        asked = ask()
        with pytest.raises(Refused, match="locked month"):
            given(5)
        with pytest.raises(Refused, match="You asked for it; somebody else agrees"):
            services.agree_to_unlock(unlock=asked, on=NOW, by=treasurer)
        for _ in range(2):
            assert services.agree_to_unlock(unlock=asked, on=NOW, by=approver).done
        year.refresh_from_db()
        assert year.locked_through == JULY
        assert set(MonthBalance.objects.values_list("month_end", flat=True)) <= {JULY}
        assert stored_months() == []
        with pytest.raises(Refused, match="locked month"):
            given(5, on=JULY)
        given(5)
        assert unsound() == []

    def test_who_may_not_lock_may_not_ask_and_only_the_second_of_two_agrees(self, locked, ask, approver, auditor):
        with pytest.raises(Refused, match="your sign-in may not do that"):
            ask(by=approver)
        with pytest.raises(Refused, match="your sign-in may not do that"):
            services.agree_to_unlock(unlock=ask(), on=NOW, by=auditor)

    def test_the_first_month_of_a_year_leaves_nothing_locked(self, locked, ask, approver, year):
        services.agree_to_unlock(unlock=ask(JULY), on=NOW, by=approver)
        year.refresh_from_db()
        assert year.locked_through is None
        assert unsound() == []

    def test_stored_months_are_right_through_unlocking_posting_and_locking_again(
        self, locked, ask, approver, given, by
    ):
        services.agree_to_unlock(unlock=ask(), on=NOW, by=approver)
        given(7, on=date(2026, 8, 20))
        given(-3, on=date(2026, 9, 1))
        lock_month(month_end=SEPTEMBER, reason="as before", by=by)
        stored = {
            row.month_end: row.balance for row in MonthBalance.objects.filter(account__role=Role.BANK).order_by("pk")
        }
        assert stored == {AUGUST: as_amount(107), SEPTEMBER: as_amount(104)}
        assert balance(Role.BANK, NOW) == 104
        assert trial_balance(AUGUST).total_debit == 107
        assert stored_months() == [AUGUST, SEPTEMBER]
        assert unsound() == []

    def test_it_is_declined_with_a_reason_and_then_stays_locked(self, locked, ask, approver, year):
        asked = ask()
        with pytest.raises(Refused, match="Say why it stays locked"):
            services.decline_unlock(unlock=asked, reason=" ", on=NOW, by=approver)
        for _ in range(2):
            services.decline_unlock(unlock=asked, reason="post it in October", on=NOW, by=approver)
        with pytest.raises(Refused, match="It was declined: post it in October"):
            services.agree_to_unlock(unlock=asked, on=NOW, by=approver)
        year.refresh_from_db()
        assert year.locked_through == SEPTEMBER
        agreed = services.agree_to_unlock(unlock=ask(), on=NOW, by=approver)
        with pytest.raises(Refused, match="unlocked already"):
            services.decline_unlock(unlock=agreed, reason="no", on=NOW, by=approver)

    def test_what_cannot_be_asked(self, locked, ask, year, by):
        with pytest.raises(Refused, match="October 2026 is not locked"):
            ask(date(2026, 10, 31))
        with pytest.raises(Refused, match="last day of a month"):
            ask(date(2026, 8, 30))
        with pytest.raises(Refused, match="is not locked"):
            ask(date(2026, 6, 30))
        with pytest.raises(Refused, match="Say why"):
            services.ask_to_unlock(year=year, month_end=AUGUST, reason=" ", on=NOW, by=by)
        key = uuid.uuid4()
        assert ask(key=key) == ask(key=key)
        with pytest.raises(Refused, match="asked to unlock August 2026 already"):
            ask(JULY)

    def test_a_closed_year_and_one_that_a_later_lock_stands_on_stay_locked(self, locked, ask, year, by, approver):
        services.open_year(first_day=date(2027, 7, 1), by=by)
        lock_month(month_end=year.last_day, reason=WHY, by=by)
        lock_month(month_end=date(2027, 7, 31), reason=WHY, by=by)
        with pytest.raises(Refused, match="which stand on this one"):
            ask()
        later = FinancialYear.objects.get(first_day=date(2027, 7, 1))
        asked = services.ask_to_unlock(year=later, month_end=date(2027, 7, 31), reason="early", on=NOW, by=by)
        services.agree_to_unlock(unlock=asked, on=NOW, by=approver)
        waiting = ask()
        with clock.on(date(2027, 7, 9)):
            services.close_year(year=year, on=date(2027, 7, 9), by=by)
        with pytest.raises(Refused, match="is closed; it is never opened again"):
            services.agree_to_unlock(unlock=waiting, on=NOW, by=approver)
        assert unsound() == []

    def test_the_database_opens_nothing_that_two_people_did_not_want(self, locked, ask, treasurer, approver, by):
        def run(sql):
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(sql)

        asked = ask()
        open_it = "UPDATE ledger_financialyear SET locked_through = '2026-07-31'"
        with pytest.raises(IntegrityError, match="only where two people want it"):
            run(open_it)
        by_one = (
            f"UPDATE ledger_monthunlock SET state = 'agreed', decided_on = '2026-10-05', decided_by_id = {treasurer.pk}"
        )
        with pytest.raises(IntegrityError, match="is_agreed_to_by_another"):
            run(by_one)
        services.agree_to_unlock(unlock=asked, on=NOW, by=approver)
        lock_month(month_end=SEPTEMBER, reason=WHY, by=by)
        with pytest.raises(IntegrityError, match="only where two people want it"):
            run(open_it)


class TestASignOffOfAnUnlockedMonth:
    @pytest.fixture
    def signed(self, given, by):
        """August at the bank, signed off and locked."""
        given(100)
        account = BankAccount.objects.get()
        line = bank.record_statement_line(
            bank_account=account, on=date(2026, 8, 9), amount=as_amount(100), text="GIVEN", by=by
        )
        bank.explain_line(line=line, posting=account.account.postings.get(), by=by)
        signed = bank.sign_off_month(
            bank_account=account, until=AUGUST, statement_balance=as_amount(100), on=NOW, by=by
        )
        lock_month(month_end=AUGUST, by=by)
        return signed

    def test_it_holds_and_lets_nothing_into_its_account_until_it_is_opened_again(
        self, signed, ask, approver, given, by
    ):
        services.agree_to_unlock(unlock=ask(), on=NOW, by=approver)
        with pytest.raises(IntegrityError, match="signed off"), transaction.atomic():
            given(5)
        given(5, into=Role.TILL)
        assert unsound() == []
        bank.reopen_month(reconciliation=signed, on=NOW, reason="a bill was forgotten", by=by)
        given(5)
        with pytest.raises(Refused, match="Club account: August 2026 not signed off"):
            lock_month(month_end=AUGUST, by=by)
        again = bank.sign_off_month(
            bank_account=signed.bank_account, until=AUGUST, statement_balance=as_amount(100), on=NOW, by=by
        )
        assert again.deposits == as_amount(5)
        lock_month(month_end=AUGUST, by=by)
        assert unsound() == []

    def test_both_pages_say_what_becomes_of_it_and_the_trace_stands_on_pages_and_in_the_workbook(
        self, signed, year, client, treasurer, approver
    ):
        client.force_login(treasurer)
        url = reverse("admin:ledger_financialyear_unlock", args=[year.pk])
        becomes = "Club account: August 2026 stays signed off, and no entry of that account can be dated there."
        assert becomes in client.get(url).content.decode()
        client.post(url, {"key": uuid.uuid4(), "month_end": "2026-08-31", "reason": "a bill was forgotten"})
        asked = MonthUnlock.objects.get()
        agree = reverse("admin:ledger_monthunlock_agree", args=[asked.pk])
        client.force_login(approver)
        assert "Month to be unlocked" in client.get("/").content.decode()
        assert becomes in client.get(agree).content.decode()
        assert client.post(agree, {"key": uuid.uuid4()}).status_code == 302
        year.refresh_from_db()
        assert year.locked_through == JULY
        book = load_workbook(io.BytesIO(workbook_bytes(year, made_on=NOW, made_by="the tests")))
        rows = [row for row in book["Months locked"].iter_rows(min_row=5, values_only=True) if any(row)]
        assert [row[1:5] for row in rows] == [
            ("Locked through August 2026", "shell", None, None),
            ("Unlocked from August 2026", treasurer.username, approver.username, "a bill was forgotten"),
        ]
