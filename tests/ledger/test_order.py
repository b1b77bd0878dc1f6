"""The order of things in the ledger: one book, one queue, years one after another, months locked one after another."""

from datetime import date, timedelta
from unittest import mock

import pytest
from django.utils import timezone

from clubdesk.errors import Refused
from clubdesk.ledger import invariants, selectors, services
from clubdesk.ledger.closing import suspense_is_zero
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, Journal, JournalEntry, MonthBalance, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.services.days import first_open_day, is_shut
from clubdesk.ledger.services.posting import CLOCKS_DIFFER_BY, refuse_overdrawing
from clubdesk.ledger.signals import month_locked
from clubdesk.money import as_amount
from clubdesk.verbs import shell_user
from tests.house.firing import run
from tests.locks import asked

pytestmark = pytest.mark.django_db
JULY, AUGUST, SEPTEMBER = date(2026, 7, 31), date(2026, 8, 31), date(2026, 9, 30)
LAST, NEXT = date(2027, 6, 30), date(2027, 7, 1)
KEYS = ("5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a11", "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a12")


@pytest.fixture
def donate(by):
    def donated(amount=10, on=date(2026, 7, 5), role=Role.DONATIONS, fund=FundRole.GENERAL, **more):
        lines = [debit(Role.BANK, as_amount(amount), fund=fund), credit(role, as_amount(amount), fund=fund)]
        return services.record_journal(on=on, narration="Raffle", lines=lines, by=by, **more)

    return donated


@pytest.fixture
def year(book):
    return FinancialYear.objects.get()


class TestTheBook:
    @pytest.mark.world("empty")
    def test_where_none_was_started_nothing_can_be_held(self, db):
        with pytest.raises(Refused, match="No book has been started yet"):
            services.lock_book()

    @pytest.mark.world("empty")
    def test_it_begins_with_a_name(self, db):
        with pytest.raises(Refused, match="Say the club's name"):
            services.start_book(club_name=" ", currency="AUD", by=shell_user())

    def test_it_is_started_once(self, by):
        with pytest.raises(Refused, match="never started twice"):
            services.start_book(club_name="Reedbank Archers", currency="AUD", by=by)

    def test_whoever_changes_it_waits_in_its_queue_before_anything_is_read(self, year, donate, by):
        journal = donate()
        entry = selectors.entries_of(journal).get()
        for change in (
            lambda: services.reverse(entry=entry, on=JULY, reason="twice", by=by),
            lambda: donate(key=KEYS[0]),
            lambda: services.open_year(first_day=NEXT, by=by),
            lambda: services.lock_month(month_end=JULY, reason="a test", by=by),
            lambda: services.close_year(year=year, by=by, on=NEXT),
        ):
            with asked() as lines:
                change()
            assert lines[0] == "hold Book"

    def test_a_year_that_is_closed_is_held(self, year, by):
        with asked() as lines:
            services.close_year(year=year, by=by, on=NEXT)
        assert lines[:2] == ["hold Book", "hold FinancialYear"]


class TestJournals:
    def test_the_same_key_writes_one_and_another_key_another(self, donate):
        first, second = (donate(key=key) for key in KEYS)
        assert [donate(key=key) for key in KEYS] == [first, second]
        assert Journal.objects.count() == 2
        assert JournalEntry.objects.count() == 2

    def test_each_says_what_it_is_for(self, by):
        with pytest.raises(Refused, match="what the journal is for"):
            services.record_journal(on=JULY, narration=" ", lines=[], by=by)

    def test_one_that_was_undone_is_not_undone_again(self, donate, by):
        journal = donate()
        services.reverse_journal(journal=journal, on=JULY, reason="typed twice", by=by)
        with pytest.raises(Refused, match="was undone already"):
            services.reverse_journal(journal=journal, on=JULY, reason="typed twice", by=by)

    def test_one_without_a_day_is_not_undone_by_itself(self, donate, by):
        with pytest.raises(Refused, match="has no day on which it is reversed"):
            services.reverse_as_dated(journal=donate(), by=by)

    def test_an_account_that_the_chart_lacks_is_asked_for(self, donate):
        Account.objects.filter(role=Role.DONATIONS).update(role=None)
        with pytest.raises(Refused, match="No account has the role “Donations and fundraising”"):
            donate()
        with pytest.raises(Refused, match="No account has the role “Donations and fundraising”"):
            selectors.account(Role.DONATIONS)

    def test_a_restricted_fund_is_spent_to_the_last_cent_and_no_further(self, donate):
        donate(10, role=Role.CONTAINERS, fund=FundRole.ENTRY)
        fund = Fund.objects.get(pk="entry")
        refuse_overdrawing("entry", -1000)
        with pytest.raises(Refused, match=r"holds \$10\.00; this would take \$10\.01"):
            refuse_overdrawing("entry", -1001)
        donate(-10, role=Role.CONTAINERS, fund=FundRole.ENTRY)
        fund.refresh_from_db()
        assert fund.balance == as_amount(0)


class TestYears:
    def test_one_that_is_open_is_not_opened_again(self, year, by):
        assert services.open_year(first_day=year.first_day, by=by) == year
        assert FinancialYear.objects.count() == 1

    def test_one_starts_on_the_first_of_a_month(self, by):
        with pytest.raises(Refused, match="starts on the first of a month"):
            services.open_year(first_day=date(2027, 7, 2), by=by)

    def test_they_are_locked_and_closed_one_after_another(self, year, by):
        following = services.open_year(first_day=NEXT, by=by)
        services.lock_month(month_end=date(2027, 5, 31), reason="a test", by=by)
        with pytest.raises(Refused, match=f"Lock {year} to its end first"):
            services.lock_month(month_end=date(2027, 7, 31), reason="a test", by=by)
        services.lock_month(month_end=LAST, reason="a test", by=by)
        assert services.lock_month(month_end=date(2027, 7, 31), reason="a test", by=by) == following
        with pytest.raises(Refused, match="Close the earlier year first"):
            services.close_year(year=following, by=by, on=date(2028, 7, 1))

    def test_one_without_an_account_for_what_is_unclear_has_nothing_unclear(self, year):
        Account.objects.filter(role=Role.SUSPENSE).update(role=None)
        item = suspense_is_zero(year)
        assert (item.done, item.said) == (True, "The chart has no account for it.")


class TestMonths:
    @pytest.fixture
    def told(self):
        """The months that the other rooms are told of."""
        ends = []

        def note(sender, month_end, **more):
            ends.append(month_end)

        month_locked.connect(note)
        yield ends
        month_locked.disconnect(note)

    def test_each_is_locked_and_told_of_once(self, told, by):
        services.lock_month(month_end=JULY, reason="a test", by=by)
        services.lock_month(month_end=JULY, reason="a test", by=by)
        assert told == [JULY]
        services.lock_month(month_end=SEPTEMBER, reason="a test", by=by)
        services.lock_month(month_end=AUGUST, reason="a test", by=by)
        assert told == [JULY, AUGUST, SEPTEMBER]

    def test_a_day_is_shut_to_the_end_of_the_locked_months(self, by):
        assert not is_shut(JULY)
        services.lock_month(month_end=JULY, reason="a test", by=by)
        assert (is_shut(JULY), is_shut(date(2026, 8, 1))) == (True, False)
        assert (first_open_day(date(2026, 7, 9)), first_open_day(date(2026, 8, 1))) == (date(2026, 8, 1),) * 2
        assert first_open_day(date(2026, 8, 2)) == date(2026, 8, 2)

    def test_where_all_are_locked_the_next_year_must_be_opened(self, by):
        services.lock_month(month_end=LAST, reason="a test", by=by)
        with pytest.raises(Refused, match="No day from 9 Sep 2026 on is open; open the next financial year first"):
            first_open_day(date(2026, 9, 9))
        services.open_year(first_day=NEXT, by=by)
        assert first_open_day(date(2026, 9, 9)) == NEXT
        assert first_open_day(LAST) == NEXT

    # A figure of 1.00, so that nobody takes what is not stored for 1.
    @pytest.mark.parametrize("sql", [
        "DELETE FROM ledger_monthbalance WHERE account_id = {bank}",
        "INSERT INTO ledger_monthbalance (month_end, account_id, fund_id, balance, closing)"
        " VALUES ('2026-07-31', {till}, 'general', 100, 0)",
    ])  # fmt: skip
    def test_a_stored_figure_too_few_or_too_many_is_a_fault(self, donate, by, sql):
        donate(1)
        services.lock_month(month_end=JULY, reason="a test", by=by)
        assert MonthBalance.objects.count() == 2
        accounts = {name: selectors.account(role).pk for name, role in (("bank", Role.BANK), ("till", Role.TILL))}
        run(sql.format(**accounts))
        (fault,) = invariants.stored_months_hold()
        assert "The balances stored for July 2026 are not those of the postings" in fault


class TestAServersClock:
    @pytest.fixture
    def by_the_clock(self, donate):
        """A donation on a server whose clock is so far behind the last entry's moment."""

        def donated(behind, **more):
            at = JournalEntry.objects.latest("number").posted_at - behind
            with mock.patch.object(timezone, "now", return_value=at):
                return donate(**more)

        donate()
        return donated

    def test_one_that_is_behind_the_last_entry_says_so_and_posts_nothing(self, by_the_clock):
        with pytest.raises(Refused, match="clock it is .*, but entry 1 was posted on .* sets its clock"):
            by_the_clock(CLOCKS_DIFFER_BY + timedelta(seconds=1))
        assert (Journal.objects.count(), JournalEntry.objects.count()) == (1, 1)

    def test_some_minutes_are_nothing(self, by_the_clock):
        by_the_clock(CLOCKS_DIFFER_BY - timedelta(seconds=1))
        assert JournalEntry.objects.count() == 2

    def test_where_it_was_ahead_before_the_last_entry_of_that_time_is_named(self, by_the_clock, settings):
        settings.CLOCK_WRONG_UNTIL_ENTRY = 1
        by_the_clock(timedelta(days=400))
        with pytest.raises(Refused, match="but entry 2 was posted on"):
            by_the_clock(timedelta(hours=1))
        assert JournalEntry.objects.count() == 2
