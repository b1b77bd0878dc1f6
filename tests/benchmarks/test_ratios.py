"""The ratios that the ledger and the workbook promise."""

import io
import itertools
import tracemalloc
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction
from django.utils import timezone
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from clubdesk.ledger import selectors, services
from clubdesk.ledger.models import Account, FinancialYear, Fund, Journal, JournalEntry, Posting, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.reports import statements
from clubdesk.reports import workbook as treasurers
from clubdesk.reports.selectors import Figures
from clubdesk.reports.verify import verify
from clubdesk.sheets.sheet import AMOUNT_FORMAT, DATE_FORMAT

pytestmark = pytest.mark.django_db
ON = date(2026, 9, 12)
LINES_AN_ENTRY = 4


def four_lines():
    return [
        debit(Role.BANK, as_amount(228)),
        credit(Role.MEMBERSHIPS, as_amount(112)),
        credit(Role.DONATIONS, as_amount(71)),
        credit(Role.GRANTS, as_amount(45)),
    ]


@pytest.mark.django_db(transaction=True)
def test_posting_an_entry_beside_plain_orm_rows(ratio, book, by):
    """`post()` of a four-line entry against the same five rows by plain `create()`, each in its transaction."""
    documents = iter([Journal.objects.create(date=ON, narration="x", recorded_by=by) for _ in range(2000)])
    lines = four_lines()
    accounts = {account.role: account for account in Account.objects.exclude(role=None)}
    fund, year = Fund.objects.get(pk="general"), FinancialYear.objects.get()
    numbers = itertools.count(1_000_000)
    wait_for_no_disk()

    def ours():
        for _ in range(20):
            services.post(source=next(documents), purpose="x", on=ON, narration="Membership", lines=lines, by=by)

    def plain():
        for _ in range(20):
            with transaction.atomic():
                number = next(numbers)
                entry = JournalEntry.objects.create(
                    number=number, date=ON, year=year, narration="Membership", source_type="plain",
                    source_id=number, purpose="x", posted_by=by, posted_at=timezone.now(),
                    previous_digest="0" * 64, digest="0" * 64,
                )  # fmt: skip
                for line in lines:
                    Posting.objects.create(entry=entry, account=accounts[line.account], fund=fund, amount=line.amount)

    # On PostgreSQL the guards of sealing are most of what is more; told was 1.6 while others used the machine.
    ratio(ours, plain, rounds=30, limit=1.5 if connection.vendor == "sqlite" else 1.7)


def wait_for_no_disk():
    """The disk costs both ways the same; on SQLite the tests' settings say so for all."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = off")


def fill(first_number, year, entries, by):
    """Entries of four lines spread over the year, written in bulk; the balances are true, the digests are not."""
    accounts = list(Account.objects.exclude(needs_party=True).order_by("pk"))
    fund = Fund.objects.get(pk="general")
    length = (year.last_day - year.first_day).days
    made = [
        JournalEntry(
            number=first_number + n, date=year.first_day + timedelta(days=n * length // entries), year=year,
            narration=f"Entry {n} of the year, such as a sign-on at the range", source_type="bulk",
            source_id=first_number + n, purpose="x", posted_by=by, posted_at=timezone.now(),
            previous_digest="", digest="",
        )
        for n in range(entries)
    ]  # fmt: skip
    made = JournalEntry.objects.bulk_create(made, batch_size=2000)
    amounts = [as_amount(value) for value in ("30.00", "-10.00", "-12.50", "-7.50")]
    Posting.objects.bulk_create(
        (
            Posting(entry=entry, account=accounts[(entry.number + n * 7) % len(accounts)], fund=fund, amount=amount)
            for entry in made
            for n, amount in enumerate(amounts)
        ),
        batch_size=5000,
    )
    JournalEntry.objects.filter(year=year).update(sealed=True)
    return first_number + entries


def test_a_trial_balance_over_ten_locked_years_beside_one(ratio, book, by, without_guards):
    """1,000,000 postings in ten locked years against the trial balance when only the first is there."""
    years = [FinancialYear.objects.get()]
    for start in range(2027, 2036):
        years.append(services.open_year(first_day=date(start, 7, 1), by=by))
    next_number = 1
    for year in years:
        next_number = fill(next_number, year, 100_000 // LINES_AN_ENTRY, by)
        services.lock_month(month_end=year.last_day, reason="a test", by=by)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    assert Posting.objects.count() == 1_000_000
    first, last = years[0].last_day, years[-1].last_day
    assert selectors.trial_balance(last).total_debit > selectors.trial_balance(first).total_debit > 0

    def of(day):
        for _ in range(5):
            selectors.trial_balance(day)

    ratio(lambda: of(last), lambda: of(first), rounds=30, limit=1.3)


def test_the_memory_of_a_workbook_of_twice_the_size(book, by, without_guards):
    """Peak memory of a year of 200,000 postings against that of 100,000: the rows are streamed, never held."""
    year = FinancialYear.objects.get()
    peaks = []
    next_number = 1
    for _ in range(2):
        next_number = fill(next_number, year, 100_000 // LINES_AN_ENTRY, by)
        tracemalloc.start()
        treasurers.write_workbook(year, Nowhere(), made_on=ON, made_by="x")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    print(f"\n  peak memory {peaks[0]:,} and {peaks[1]:,} bytes: {peaks[1] / peaks[0]:.2f} times (at most 1.3)")
    assert peaks[1] <= 1.3 * peaks[0]


class Nowhere(io.RawIOBase):
    """A file that keeps nothing."""

    def writable(self):
        return True

    def write(self, content):
        return len(content)


def test_the_workbook_of_a_large_year_beside_bare_openpyxl(ratio, book, by, without_guards):
    """A year of 100,000 postings against openpyxl's write-only mode writing the same cells of every sheet."""
    year = FinancialYear.objects.get()
    fill(1, year, 100_000 // LINES_AN_ENTRY, by)
    sheets = {}
    treasurers.write_workbook(
        year, io.BytesIO(), made_on=ON, made_by="x", copies=lambda name: sheets.setdefault(name, []).append
    )
    assert len(sheets["Journal"]) > 100_000 < len(sheets["Ledger by account"])
    formats = {Decimal: AMOUNT_FORMAT, date: DATE_FORMAT}

    def ours():
        treasurers.write_workbook(year, io.BytesIO(), made_on=ON, made_by="x")

    def plain():
        book = Workbook(write_only=True)
        for name, rows in sheets.items():
            sheet = book.create_sheet(name)
            for row in rows:
                cells = []
                for value in row:
                    cell = WriteOnlyCell(sheet, value)
                    if type(value) in formats:
                        cell.number_format = formats[type(value)]
                    cells.append(cell)
                sheet.append(cells)
        book.save(io.BytesIO())

    ratio(ours, plain, rounds=2, limit=1.5)


def test_statements_over_ten_closed_years_beside_one(ratio, book, by, without_guards):
    """All the statements of a span of ten closed years, 100,000 postings each, against those of the last year alone."""
    years = [FinancialYear.objects.get()]
    for start in range(2027, 2036):
        years.append(services.open_year(first_day=date(start, 7, 1), by=by))
    next_number = 1
    for year in years:
        next_number = fill(next_number, year, 100_000 // LINES_AN_ENTRY, by)
        services.lock_month(month_end=year.last_day, reason="a test", by=by)
    FinancialYear.objects.update(closed_at=timezone.now(), closed_by=by)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    assert Posting.objects.count() == 1_000_000
    first, last = years[0].first_day, years[-1]

    def of(begins, ends):
        for basis in statements.BASES:
            statements.of_basis(basis, Figures(begins, ends))

    whole = statements.income_and_expenditure(Figures(first, last.last_day), None).rows[-1].figures[-2]
    one = statements.income_and_expenditure(Figures(last.first_day, last.last_day), None).rows[-1].figures[-2]
    assert whole != one
    ratio(lambda: of(first, last.last_day), lambda: of(last.first_day, last.last_day), rounds=10, limit=1.3)


@pytest.mark.world("demo")
def test_verifying_a_workbook_beside_writing_it(ratio, db):
    """`verify()` of a workbook that nobody touched against making it; both make it once."""
    year = FinancialYear.objects.get(last_day__year=2026)

    def write():
        return treasurers.workbook_bytes(year, made_on=ON, made_by="the benchmark")

    content = write()
    ratio(lambda: verify(content), write, rounds=3, limit=2)
