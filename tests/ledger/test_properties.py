"""Random months of bookkeeping against a plain model in memory: the same balances on every date."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from clubdesk.errors import Refused
from clubdesk.ledger import selectors, services
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear, FundRole, JournalEntry, Role
from clubdesk.ledger.posting import Line
from clubdesk.money import as_amount
from clubdesk.rooms import TREASURER
from clubdesk.verbs import shell_user
from tests.chance import by_chance
from tests.worlds.day_one import username

pytestmark = pytest.mark.django_db
FIRST_DAY = date(2026, 7, 1)
LAST_DAY = date(2028, 6, 30)
ACCOUNTS = [Role.BANK, Role.TILL, Role.DONATIONS, Role.HIRE, Role.BANK_FEES, Role.OTHER_PAYABLES]
HOLDINGS = {Role.BANK, Role.TILL, Role.OTHER_PAYABLES}
FUNDS = [FundRole.GENERAL, FundRole.ENTRY]
days = st.integers(0, (LAST_DAY - FIRST_DAY).days).map(lambda n: FIRST_DAY + timedelta(days=n))
cents = st.integers(-99_999_99, 99_999_99).filter(bool)


class Books(RuleBasedStateMachine):
    """The model is a list of (date, number, fund, account, cents) and what is locked and closed."""

    @initialize()
    def start(self):
        self.run = transaction.atomic()
        self.run.__enter__()
        self.by, self.treasurer = shell_user(), User.objects.get(username=username(TREASURER))
        services.open_year(first_day=date(2027, 7, 1), by=self.by)
        self.lines = []
        self.entries = {}
        self.reversed = set()
        self.locked = FIRST_DAY - timedelta(days=1)
        self.closed = FIRST_DAY - timedelta(days=1)

    def fund_after(self, fund, lines):
        return sum(c for _, f, a, c in [*self.lines, *lines] if f == fund and a in HOLDINGS)

    @rule(
        on=days,
        fund=st.sampled_from(FUNDS),
        amounts=st.lists(cents, min_size=1, max_size=4),
        accounts=st.lists(st.sampled_from(ACCOUNTS), min_size=5, max_size=5),
    )
    def post(self, on, fund, amounts, accounts):
        amounts = [*amounts, -sum(amounts)]
        planned = [(on, fund, a, c) for a, c in zip(accounts, amounts, strict=False) if c]
        fits = fund == FundRole.GENERAL or self.fund_after(fund, planned) >= 0 or self.effect(planned) >= 0
        allowed = on > self.locked and len(planned) >= 2 and fits
        lines = [Line(a, as_amount(c) / 100, None, fund) for _, _, a, c in planned]
        try:
            journal = services.record_journal(on=on, narration="random", lines=lines, by=self.by)
        except Refused:
            assert not allowed
        else:
            assert allowed
            self.lines += planned
            self.entries[selectors.entries_of(journal).get().pk] = planned

    def effect(self, planned):
        return sum(c for _, _, a, c in planned if a in HOLDINGS)

    @precondition(lambda self: self.entries)
    @rule(data=st.data(), after=st.integers(0, 400))
    def reverse(self, data, after):
        pk = data.draw(st.sampled_from(sorted(self.entries)))
        planned = self.entries[pk]
        on = planned[0][0] + timedelta(days=after)
        fund = planned[0][1]
        undone = [(on, f, a, -c) for _, f, a, c in planned]
        fits = fund == FundRole.GENERAL or self.fund_after(fund, undone) >= 0 or self.effect(undone) >= 0
        allowed = self.locked < on <= LAST_DAY and pk not in self.reversed and fits
        try:
            services.reverse(entry=JournalEntry.objects.get(pk=pk), on=on, reason=f"day {after}", by=self.by)
        except Refused:
            assert not allowed
        else:
            if pk not in self.reversed:
                assert allowed
                self.lines += undone
                self.reversed.add(pk)

    @rule(months=st.integers(1, 5))
    def lock(self, months):
        end = self.locked
        for _ in range(months):
            end = selectors.month_end(end + timedelta(days=1))
        if end <= LAST_DAY:
            year_end = date(2027, 6, 30)
            if self.locked < year_end < end:
                services.lock_month(month_end=year_end, reason="a test", by=self.by)
            services.lock_month(month_end=end, reason="a test", by=self.by)
            self.locked = end

    @precondition(lambda self: self.locked > self.closed)
    @rule(months=st.integers(1, 5))
    def unlock(self, months):
        year = selectors.year_containing(self.locked)
        ends = selectors.month_ends(year.first_day, self.locked)[-months:]
        asked = services.ask_to_unlock(year=year, month_end=ends[0], reason="a test", on=LAST_DAY, by=self.treasurer)
        services.agree_to_unlock(unlock=asked, on=LAST_DAY, by=self.by)
        self.locked = ends[0].replace(day=1) - timedelta(days=1)

    @precondition(lambda self: self.closed < date(2027, 6, 30))
    @rule()
    def close(self):
        year = FinancialYear.objects.get(first_day=FIRST_DAY)
        services.close_year(year=year, by=self.by, on=LAST_DAY)
        self.closed = year.last_day
        self.locked = max(self.locked, year.last_day)
        for fund in FUNDS:
            surplus = 0
            for account in set(ACCOUNTS) - HOLDINGS:
                moved = sum(c for d, f, a, c in self.lines if d <= self.closed and f == fund and a == account)
                surplus += moved
                self.lines.append((self.closed, fund, account, -moved))
            self.lines.append((self.closed, fund, Role.ACCUMULATED, surplus))

    @invariant()
    def balances_agree_on_the_latest_dates(self):
        self.compare(sorted(self.dates())[-12:])

    def dates(self):
        """Every date on which a balance changes, and the day before it."""
        return {d + timedelta(days=n) for d, *_ in self.lines for n in (-1, 0)} | {self.locked, LAST_DAY}

    def compare(self, dates):
        names = {account.pk: account.role for account in selectors.Account.objects.exclude(role=None)}
        for day in dates:
            expected = {}
            for d, f, a, c in self.lines:
                if d <= day:
                    expected[a, f] = expected.get((a, f), Decimal(0)) + Decimal(c) / 100
            found = selectors.balances(day, ["account_id", "fund_id"]).after_closing
            got = {(names[account], fund): figure for (account, fund), figure in found.items() if figure}
            assert got == {key: figure for key, figure in expected.items() if figure}, day

    def teardown(self):
        """Prove the books, then roll them back, so that each run starts from an empty database."""
        try:
            self.compare(self.dates())
            assert [result for result in check_all() if result.faults] == []
        finally:
            transaction.set_rollback(True)
            self.run.__exit__(None, None, None)


@pytest.mark.slow
def test_any_run_of_posts_reversals_locks_unlocks_and_closes_keeps_the_balances_of_the_model(db):
    run_state_machine_as_test(Books, settings=by_chance(12, 18))
