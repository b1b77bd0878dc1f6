"""The ledger: what is posted stays, balances, and can be proved."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction

from clubdesk import guards
from clubdesk.errors import Refused
from clubdesk.ledger import selectors, services
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear, Fund, FundRole, JournalEntry, MonthBalance, Posting, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount

pytestmark = pytest.mark.django_db


def journal(by, amount="10.00", on=date(2026, 7, 5), narration="Raffle", **lines):
    return services.record_journal(
        on=on,
        narration=narration,
        lines=lines.get("lines") or [debit(Role.BANK, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))],
        by=by,
    )


def entry_of(document):
    return selectors.entries_of(document).get()


def execute(sql, *params):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, params)


class TestWhatIsSealedStays:
    """Raw SQL goes around Django and is refused by the database itself."""

    @pytest.fixture
    def entry(self, by):
        return entry_of(journal(by))

    @pytest.mark.parametrize(
        ("sql", "sentence"),
        [
            ("UPDATE ledger_journalentry SET narration = 'other' WHERE id = %s", "entry is never changed"),
            ("UPDATE ledger_journalentry SET date = '2026-07-06' WHERE id = %s", "entry is never changed"),
            ("UPDATE ledger_journalentry SET sealed = NOT sealed WHERE id = %s", "entry is never changed"),
            ("DELETE FROM ledger_journalentry WHERE id = %s", "entry is never deleted"),
            ("UPDATE ledger_posting SET amount = 1100 WHERE entry_id = %s AND amount > 0", "line .* is never changed"),
            ("UPDATE ledger_posting SET party_id = NULL WHERE entry_id = %s", "line .* is never changed"),
            ("DELETE FROM ledger_posting WHERE entry_id = %s", "line .* is never deleted"),
        ],
    )
    def test_a_sealed_entry_and_its_lines_refuse_every_change(self, entry, sql, sentence):
        with pytest.raises(IntegrityError, match=sentence):
            execute(sql, entry.pk)

    def test_no_line_joins_a_sealed_entry(self, entry):
        row = entry.postings.first()
        with pytest.raises(IntegrityError, match="sealed entry"):
            execute(
                "INSERT INTO ledger_posting (entry_id, account_id, fund_id, amount) VALUES (%s, %s, %s, 500)",
                entry.pk,
                row.account_id,
                row.fund_id,
            )

    def _begin(self, by, *amounts):
        """An unsealed entry with lines of the amounts, written without the verbs."""
        year, last = FinancialYear.objects.get(), JournalEntry.objects.first()
        entry = JournalEntry.objects.create(
            number=last.number + 1,
            date=date(2026, 7, 9),
            year=year,
            narration="by another program",
            source_type="x",
            source_id=1,
            purpose="x",
            posted_by=by,
            posted_at="2026-07-09T00:00Z",
            previous_digest=last.digest,
            digest="d",
        )
        for role, amount in zip((Role.BANK, Role.DONATIONS), amounts, strict=False):
            Posting.objects.create(
                entry=entry,
                account=selectors.account(role),
                fund=Fund.objects.get(pk="general"),
                amount=as_amount(amount),
            )
        return entry

    @pytest.mark.parametrize("amounts", [("10.00", "-9.99"), ("0.10", "-0.11"), ("10.00",), ()])
    def test_an_entry_that_does_not_sum_to_zero_is_never_sealed(self, entry, by, amounts):
        unbalanced = self._begin(by, *amounts)
        with pytest.raises(IntegrityError, match="sum to zero"):
            execute("UPDATE ledger_journalentry SET sealed = TRUE WHERE id = %s", unbalanced.pk)

    def test_an_entry_balances_in_each_fund_and_not_only_in_all(self, entry, by):
        across = self._begin(by, "10.00", "-10.00")
        other = "entry"
        execute("UPDATE ledger_posting SET fund_id = %s WHERE entry_id = %s AND amount > 0", other, across.pk)
        with pytest.raises(IntegrityError, match="sum to zero"):
            execute("UPDATE ledger_journalentry SET sealed = TRUE WHERE id = %s", across.pk)

    @pytest.mark.parametrize("change", ["number = 7", "previous_digest = 'x'"])
    def test_an_entry_follows_the_one_before_it(self, entry, by, change):
        stray = self._begin(by, "10.00", "-10.00")
        with connection.cursor() as cursor:
            guards.remove(connection)
            cursor.execute(f"UPDATE ledger_journalentry SET {change} WHERE id = %s", [stray.pk])
            connection.check_constraints()
            guards.install(connection)
        with pytest.raises(IntegrityError, match="follows the one before"):
            execute("UPDATE ledger_journalentry SET sealed = TRUE WHERE id = %s", stray.pk)

    def test_an_entry_begins_unsealed(self, entry):
        with pytest.raises(IntegrityError, match="sealed after its lines are written"):
            execute(
                "INSERT INTO ledger_journalentry (number, date, year_id, narration, source_type, source_id, purpose,"
                " is_closing, posted_by_id, posted_at, previous_digest, digest, sealed) SELECT 99, date, year_id,"
                " narration, 'x', 9, 'x', is_closing, posted_by_id, posted_at, '', '', TRUE"
                " FROM ledger_journalentry WHERE id = %s",
                entry.pk,
            )

    @pytest.mark.only_on("sqlite")
    def test_insert_or_replace_does_not_slip_past_the_guards(self, entry):
        row = entry.postings.first()
        with pytest.raises(IntegrityError, match="line of an entry stands already"):
            execute(
                "INSERT OR REPLACE INTO ledger_posting (id, entry_id, account_id, fund_id, amount)"
                " VALUES (%s, %s, %s, %s, 500)",
                row.pk,
                entry.pk,
                row.account_id,
                row.fund_id,
            )
        with pytest.raises(IntegrityError, match="This entry stands already"):
            execute(
                "INSERT OR REPLACE INTO ledger_journalentry (id, number, date, narration, source_type, source_id,"
                " purpose, is_closing, posted_at, previous_digest, digest, sealed, posted_by_id, year_id, reverses_id)"
                " SELECT id, number, date, 'other', source_type, source_id, purpose, is_closing, posted_at,"
                " previous_digest, digest, 0, posted_by_id, year_id, reverses_id"
                " FROM ledger_journalentry WHERE id = %s",
                entry.pk,
            )

    @pytest.mark.only_on("postgresql")
    @pytest.mark.parametrize("table", ["ledger_posting", "ledger_journalentry"])
    def test_truncate_is_refused(self, entry, table):
        connection.check_constraints()
        with pytest.raises(IntegrityError, match="never emptied"):
            execute(f"TRUNCATE {table} CASCADE")

    @pytest.mark.only_on("sqlite")
    @pytest.mark.parametrize("amount", ["5.5", "'five'"])
    def test_a_line_is_in_whole_cents(self, entry, by, amount):
        unsealed = self._begin(by)
        row = entry.postings.first()
        insert = f"INSERT INTO ledger_posting (entry_id, account_id, fund_id, amount) VALUES (%s, %s, %s, {amount})"
        with pytest.raises(IntegrityError, match="whole cents"):
            execute(insert, unsealed.pk, row.account_id, row.fund_id)

    def test_a_line_of_an_account_with_parties_says_who(self, entry, by):
        unsealed = self._begin(by)
        insert = "INSERT INTO ledger_posting (entry_id, account_id, fund_id, amount) VALUES (%s, %s, 'general', 500)"
        with pytest.raises(IntegrityError, match="who owes"):
            execute(insert, unsealed.pk, selectors.account(Role.FEES_OWED).pk)


class TestPosting:
    def test_posting_twice_returns_the_first_entry(self, by):
        document = journal(by)
        first = entry_of(document)
        again = services.post(
            source=document, purpose="journal", on=date(2026, 8, 1), narration="again", lines=[], by=by
        )
        assert again == first
        assert JournalEntry.objects.count() == 1

    def test_a_rolled_back_entry_leaves_no_gap_in_the_numbers(self, by):
        journal(by)
        with pytest.raises(RuntimeError, match="the light went out"), transaction.atomic():
            journal(by)
            raise RuntimeError("the light went out")
        journal(by)
        assert list(JournalEntry.objects.order_by("number").values_list("number", flat=True)) == [1, 2]

    @pytest.mark.parametrize(
        ("lines", "sentence"),
        [
            (
                [debit(Role.BANK, as_amount(10)), credit(Role.DONATIONS, as_amount(9))],
                r"out of balance by \$1.00",
            ),
            ([debit(Role.BANK, as_amount(10))], "at least two lines"),
            ([debit(Role.VOUCHERS_OWED, as_amount(10)), credit(Role.HIRE, as_amount(10))], "who owes"),
            ([debit(Role.FEES_OWED, as_amount(10)), credit(Role.HIRE, as_amount(10))], "kept family by family"),
            (
                [debit(Role.BANK, as_amount(10)), credit(Role.BANK, as_amount(10), fund=FundRole.ENTRY)],
                "out of balance",
            ),
            (
                [
                    debit(Role.ENTRY_REFUNDS, as_amount(10), fund=FundRole.ENTRY),
                    credit(Role.BANK, as_amount(10), fund=FundRole.ENTRY),
                ],
                r"Entry fund holds \$0.00; this would take \$10.00",
            ),
        ],
    )
    def test_what_is_unsound_is_refused_in_words(self, by, lines, sentence):
        with pytest.raises(Refused, match=sentence):
            journal(by, lines=lines)
        assert not JournalEntry.objects.exists()

    def test_a_date_outside_every_year_is_refused(self, by):
        with pytest.raises(Refused, match="No financial year covers 30 Jun 2026"):
            journal(by, on=date(2026, 6, 30))

    def test_the_database_keeps_a_restricted_fund_from_being_overdrawn(self, by):
        with pytest.raises(IntegrityError, match="ledger_fund_not_overdrawn"):
            execute("UPDATE ledger_fund SET balance = -1 WHERE code = 'entry'")


class TestReversing:
    def test_a_reversal_undoes_its_entry_once_and_names_it(self, by):
        entry = entry_of(journal(by))
        undone = services.reverse(entry=entry, on=date(2026, 7, 8), reason="typed twice", by=by)
        assert undone.reverses == entry
        assert services.reverse(entry=entry, on=date(2026, 7, 8), reason="typed twice", by=by) == undone
        with pytest.raises(Refused, match="reversed already, by entry 2"):
            services.reverse(entry=entry, on=date(2026, 7, 9), reason="again", by=by)
        assert selectors.balance(Role.BANK, date(2026, 7, 31)) == 0

    def test_why_stands_in_the_document_and_in_no_sealed_entry(self, by):
        document = journal(by)
        undone = services.reverse(entry=entry_of(document), on=date(2026, 7, 8), reason="Bea typed it twice", by=by)
        document.refresh_from_db()
        assert undone.narration == "Reversal of entry 1"
        assert document.why_undone == "Bea typed it twice"
        entries = list(JournalEntry.objects.all())
        assert selectors.why_undone(entries) == {entry.pk: "Bea typed it twice" for entry in entries}
        document.undone_reason = ""
        document.save(update_fields=["undone_reason"])
        assert selectors.why_undone(entries) == {}
        assert [result for result in check_all() if result.faults] == []

    def test_a_reversal_is_dated_in_an_open_month_and_not_before_its_entry(self, by):
        entry = entry_of(journal(by))
        with pytest.raises(Refused, match="before its entry"):
            services.reverse(entry=entry, on=date(2026, 7, 1), reason="wrong", by=by)
        services.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        with pytest.raises(Refused, match="locked month"):
            services.reverse(entry=entry, on=date(2026, 7, 9), reason="wrong", by=by)

    def test_it_says_why(self, by):
        with pytest.raises(Refused, match="Say why the entry is reversed"):
            services.reverse(entry=entry_of(journal(by)), on=date(2026, 7, 8), reason=" ", by=by)

    def test_a_reversal_is_not_reversed(self, by):
        undone = services.reverse(entry=entry_of(journal(by)), on=date(2026, 7, 8), reason="twice", by=by)
        with pytest.raises(Refused, match="itself a reversal"):
            services.reverse(entry=undone, on=date(2026, 7, 9), reason="no", by=by)


class TestLocking:
    def test_nothing_posts_into_a_locked_month(self, by):
        journal(by)
        services.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        with pytest.raises(Refused, match=r"locked through 31 Jul 2026"):
            journal(by, on=date(2026, 7, 31))
        journal(by, on=date(2026, 8, 1))

    def test_the_database_refuses_a_locked_date_and_a_reopened_month(self, by):
        entry = entry_of(journal(by))
        services.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        with pytest.raises(IntegrityError, match="locked month"):
            execute(
                "INSERT INTO ledger_journalentry (number, date, year_id, narration, source_type, source_id, purpose,"
                " is_closing, posted_by_id, posted_at, previous_digest, digest, sealed) SELECT 99, date, year_id,"
                " narration, 'x', 9, 'x', is_closing, posted_by_id, posted_at, '', '', FALSE"
                " FROM ledger_journalentry WHERE id = %s",
                entry.pk,
            )
        with pytest.raises(IntegrityError, match="never opened again"):
            execute("UPDATE ledger_financialyear SET locked_through = NULL")

    def test_only_whole_months_are_locked(self, by):
        with pytest.raises(Refused, match="not the last day of a month"):
            services.lock_month(month_end=date(2026, 7, 30), reason="a test", by=by)

    def test_locked_months_are_stored_and_reports_read_them(self, by):
        journal(by, "10.00", on=date(2026, 7, 5))
        journal(by, "7.50", on=date(2026, 8, 5))
        before = selectors.trial_balance(date(2026, 9, 30))
        services.lock_month(month_end=date(2026, 8, 31), reason="a test", by=by)
        assert selectors.trial_balance(date(2026, 9, 30)) == before

    def test_what_each_month_moved_is_the_same_once_it_is_locked(self, by):
        for month, amount in ((7, "10.00"), (8, "7.50"), (9, "2.50")):
            journal(by, amount, on=date(2026, month, 5))

        def moved():
            asked = (date(2026, 7, 1), date(2026, 9, 30), ["account_id"])
            rows = selectors.moved_by_month(*asked, account__role=Role.DONATIONS)
            return {key: figure for key, figure in rows.items() if figure}

        before = moved()
        donations = selectors.account(Role.DONATIONS).pk
        ends = [(date(2026, month, day), donations) for month, day in ((7, 31), (8, 31), (9, 30))]
        assert before == dict(zip(ends, (-10, -7.5, -2.5), strict=True))
        services.lock_month(month_end=date(2026, 8, 31), reason="a test", by=by)
        assert moved() == before
        assert MonthBalance.objects.filter(month_end=date(2026, 8, 31)).count() == 2
        assert selectors.balance(Role.BANK, date(2026, 8, 4)) == Decimal("10.00")

    def test_a_locked_month_that_ends_at_nil_still_moved_what_it_moved(self, by):
        journal(by, "10.00", on=date(2026, 7, 5))
        services.reverse(entry=JournalEntry.objects.get(), on=date(2026, 8, 5), reason="wrong", by=by)
        journal(by, "2.50", on=date(2026, 9, 5))
        asked = (date(2026, 7, 1), date(2026, 9, 30), ["account__role"])

        def moved():
            rows = selectors.moved_by_month(*asked, account__role=Role.DONATIONS)
            return {(end.month, figure) for (end, _), figure in rows.items() if figure}

        before = moved()
        assert before == {(7, -10), (8, 10), (9, Decimal("-2.5"))}
        services.lock_month(month_end=date(2026, 9, 30), reason="a test", by=by)
        assert not MonthBalance.objects.filter(month_end=date(2026, 8, 31)).exists()
        assert moved() == before

    def test_what_a_span_moved_leaves_out_what_was_before_and_after_it(self, by):
        july, august = date(2026, 7, 31), date(2026, 8, 31)
        for day, amount in ((5, "10.00"), (36, "7.50"), (56, "3.00"), (81, "1.00")):
            journal(by, amount, on=date(2026, 6, 30) + timedelta(days=day))

        def moved():
            found = [
                selectors.moved_by_month(date(2026, 8, 1), last, ["account__role"], account__role=Role.DONATIONS)
                for last in (date(2026, 8, 20), date(2026, 9, 10))
            ]
            return [{end: figure for (end, _), figure in rows.items() if figure} for rows in found]

        assert moved() == [{august: Decimal("-7.5")}, {august: Decimal("-10.5")}]
        for month_end in (july, august):
            services.lock_month(month_end=month_end, reason="a test", by=by)
            assert moved() == [{august: Decimal("-7.5")}, {august: Decimal("-10.5")}]


class TestClosing:
    @pytest.fixture
    def closed(self, by):
        journal(by, "10.00")
        services.record_journal(
            on=date(2026, 8, 2),
            narration="Cans",
            lines=[
                debit(Role.BANK, as_amount(4), fund=FundRole.ENTRY),
                credit(Role.CONTAINERS, as_amount(4), fund=FundRole.ENTRY),
            ],
            by=by,
        )
        year = FinancialYear.objects.get()
        return services.close_year(year=year, by=by, on=date(2027, 7, 1))

    def test_each_fund_closes_to_accumulated_funds(self, closed):
        closing = JournalEntry.objects.filter(is_closing=True)
        assert [entry.purpose for entry in closing.order_by("number")] == ["close general", "close entry"]
        assert selectors.balance(Role.ACCUMULATED, closed.last_day) == Decimal("-14.00")
        assert selectors.balance(Role.DONATIONS, closed.last_day) == 0

    def test_a_closed_years_statements_leave_the_closing_entries_out(self, closed):
        trial = selectors.trial_balance(closed.last_day, before_closing=True)
        figures = {line.account.role: line.credit for line in trial.lines}
        assert figures[Role.DONATIONS] == Decimal("10.00")
        assert Role.ACCUMULATED not in figures

    def test_nothing_posts_into_a_closed_year_and_it_never_reopens(self, closed, by):
        with pytest.raises(Refused, match="closed year"):
            journal(by, on=date(2027, 6, 30))
        with pytest.raises(IntegrityError, match="never opened again"):
            execute("UPDATE ledger_financialyear SET closed_at = NULL")
        assert services.close_year(year=closed, by=by, on=date(2027, 7, 2)) == closed

    def test_a_year_that_is_not_over_is_not_closed(self, by):
        with pytest.raises(Refused, match="not over yet"):
            services.close_year(year=FinancialYear.objects.get(), by=by, on=date(2027, 6, 30))

    def test_a_year_locked_to_its_end_can_still_be_closed(self, by):
        journal(by, "10.00")
        services.lock_month(month_end=date(2027, 6, 30), reason="a test", by=by)
        services.close_year(year=FinancialYear.objects.get(), by=by, on=date(2027, 7, 1))
        assert selectors.balance(Role.ACCUMULATED, date(2027, 6, 30)) == Decimal("-10.00")

    def test_a_year_can_be_closed_when_months_of_the_next_are_locked_already(self, by):
        journal(by, "10.00")
        services.open_year(first_day=date(2027, 7, 1), by=by)
        journal(by, "5.00", on=date(2027, 7, 9))
        services.lock_month(month_end=date(2027, 6, 30), reason="a test", by=by)
        services.lock_month(month_end=date(2027, 8, 31), reason="a test", by=by)
        services.close_year(year=FinancialYear.objects.get(first_day=date(2026, 7, 1)), by=by, on=date(2027, 9, 1))
        assert selectors.balance(Role.DONATIONS, date(2027, 8, 31)) == Decimal("-5.00")
        assert selectors.balance(Role.ACCUMULATED, date(2027, 7, 31)) == Decimal("-10.00")
        assert [result for result in check_all() if result.faults] == []

    def test_a_year_is_closed_once_the_one_before_it_is(self, closed, by):
        following = services.open_year(first_day=date(2027, 7, 1), by=by)
        assert services.close_year(year=following, by=by, on=date(2028, 7, 1)).is_closed

    def test_years_follow_each_other_without_a_gap(self, closed, by):
        with pytest.raises(Refused, match="starts on 1 Jul 2027"):
            services.open_year(first_day=date(2027, 8, 1), by=by)
        assert services.open_year(first_day=date(2027, 7, 1), by=by).last_day == date(2028, 6, 30)


class TestTheYearOfADay:
    """The years from July 2026, 2027 and 2028 are open."""

    @pytest.fixture(autouse=True)
    def years(self, by):
        for first in (date(2027, 7, 1), date(2028, 7, 1)):
            services.open_year(first_day=first, by=by)

    @pytest.mark.parametrize(("day", "first"), [
        (date(2026, 7, 1), date(2026, 7, 1)), (date(2027, 6, 30), date(2026, 7, 1)),
        (date(2027, 7, 1), date(2027, 7, 1)), (date(2028, 6, 30), date(2027, 7, 1)),
        (date(2029, 6, 30), date(2028, 7, 1)),
    ])  # fmt: skip
    def test_it_is_the_one_that_the_day_is_in(self, day, first):
        assert selectors.year_start(day) == selectors.year_containing(day).first_day == first

    def test_a_day_that_no_year_covers_begins_365_days_before_and_can_be_posted_in_none(self):
        for day, start in ((date(2029, 8, 1), date(2028, 8, 1)), (date(2026, 6, 30), date(2025, 6, 30))):
            assert selectors.year_start(day) == start
            with pytest.raises(Refused, match="No financial year covers"):
                selectors.year_containing(day)

    def test_a_year_is_named_by_the_calendar_year_in_which_it_ends(self):
        assert selectors.year_ending(2028).first_day == date(2027, 7, 1)
        for wrong in (2026, 2030, 0, 9999999):
            with pytest.raises(Refused, match=f"No financial year ends in {wrong}"):
                selectors.year_ending(wrong)
