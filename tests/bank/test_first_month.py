"""The first months of a book that has just been started: its opening is not on its way, and no line is invented."""

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import closing, services
from clubdesk.bank.models import BankAccount, StatementLine
from clubdesk.bank.months import named, next_month, not_signed
from clubdesk.bank.reconciling import reconcile
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, FinancialYear, FundRole, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from tests import factories
from tests.bank.begun import (
    AUGUST,
    FIRST,
    JULY,
    OCTOBER,
    SEPTEMBER,
    at_bank,
    begin,
    booked,
    line,
    sign,
    undoing,
    unsound,
)

pytestmark = pytest.mark.django_db
LATER = date(2026, 11, 4)


@pytest.fixture
def opening(book, by):
    return begin(by)


@pytest.fixture
def account(book):
    return BankAccount.objects.get()


@pytest.fixture
def year(book):
    return FinancialYear.objects.get(first_day=FIRST)


@pytest.fixture(autouse=True)
def in_november(today):
    with clock.on(LATER):
        yield


def test_a_month_in_which_nothing_moved_is_signed_off_at_the_opening_balance(opening, account, by):
    found = reconcile(account, JULY, as_amount("4213.77"))
    assert (found.opening, found.moved, found.on_the_way, found.obstacles) == (
        as_amount("4213.77"), as_amount(0), [], []
    )  # fmt: skip
    assert sign(by, JULY, "4213.77", LATER).deposits == as_amount(0)
    assert not StatementLine.objects.exists()
    assert unsound() == []


def test_a_file_with_a_line_of_a_signed_off_month_says_so_before_it_is_brought_in(
    opening, account, by, client, treasurer
):
    sign(by, JULY, "4213.77", LATER)
    content = b"Date,Details,Amount\n29/07/2026,MONTHLY FEE,-5.50\n"
    client.force_login(treasurer)
    sent = {"bank_account": account.pk, "file": SimpleUploadedFile("late.csv", content)}
    page = client.post(reverse("admin:import_statement"), sent).content.decode()
    why = "July 2026 is signed off without this line of it, or of a month before: 29 Jul 2026, −$5.50, MONTHLY FEE."
    assert why in page
    assert reverse("admin:bank_reconciliation_change", args=[account.reconciliations.get().pk]) in page
    assert "Import it" not in page
    with pytest.raises(Refused, match="July 2026 is signed off without this line"):
        services.import_statement(bank_account=account, content=content, file_name="late.csv", by=by)
    assert not StatementLine.objects.exists()


def test_what_was_banked_on_the_last_evening_is_on_its_way_though_the_bank_showed_nothing_yet(opening, account, by):
    evening = booked(by, "60.00", "Raffle", JULY)
    assert sign(by, JULY, "4213.77", LATER).deposits == as_amount(60)
    line(by, "60.00", "CASH", date(2026, 8, 3), evening)
    assert sign(by, AUGUST, "4273.77", LATER).deposits == as_amount(0)
    assert unsound() == []


def test_the_closing_balance_must_come_of_the_opening_and_the_lines(opening, account, by):
    line(by, "60.00", "CASH", date(2026, 7, 9), booked(by, "60.00", "Raffle", date(2026, 7, 9)))
    with pytest.raises(Refused, match="Opening balance and lines do not come to the closing balance"):
        sign(by, JULY, "4213.77", LATER)
    sign(by, JULY, "4273.77", LATER)


def test_a_file_that_began_before_the_book_asks_for_nothing_of_the_days_before(opening, account, year, by):
    content = b"Date,Details,Amount,Balance\n28/06/2026,MOWER,-86.23,4213.77\n09/07/2026,CASH,60.00,4273.77\n"
    services.import_statement(bank_account=account, content=content, file_name="winter.csv", by=by)
    raffle = booked(by, "60.00", "Raffle", date(2026, 7, 9))
    services.explain_line(line=account.lines.get(amount=as_amount(60)), posting=raffle, by=by)
    assert reconcile(account, JULY, as_amount("4273.77")).lacking == []
    sign(by, JULY, "4273.77", LATER)
    assert closing.lines_explained(year).done
    assert unsound() == []


def test_a_cheque_from_before_that_the_opening_has_is_on_its_way_until_the_bank_pays_it(book, account, by):
    begin(by, bank_balance="4300.00")
    before = [credit(Role.BANK, as_amount("86.23")), debit(Role.ACCUMULATED, as_amount("86.23"))]
    with pytest.raises(Refused, match="was brought in already"):
        ledger.record_opening(narration="Cheque 9", lines=before, by=by)
    cheque = at_bank(ledger.record_journal(on=FIRST, narration="Cheque 9", lines=before, by=by))
    assert sign(by, JULY, "4300.00", LATER).payments == as_amount("86.23")
    line(by, "-86.23", "CHEQUE 9", date(2026, 8, 5), cheque)
    assert sign(by, AUGUST, "4213.77", LATER).payments == as_amount(0)
    assert unsound() == []


def test_an_opening_typed_wrongly_is_taken_back_on_its_own_day_and_leaves_nothing_on_its_way(opening, account, by):
    ledger.reverse_journal(journal=opening, on=date(2026, 9, 3), reason="two digits swapped", by=by)
    right = [debit(Role.BANK, as_amount("4231.77")), credit(Role.ACCUMULATED, as_amount("4231.77"))]
    ledger.record_opening(narration="Opening", lines=right, by=by)
    found = reconcile(account, JULY, as_amount("4231.77"))
    assert (found.difference, found.on_the_way, found.recorded_later) == (as_amount(0), [], [])
    assert found.opening == as_amount("4231.77")
    sign(by, JULY, "4231.77", LATER)
    assert unsound() == []


def test_an_opening_stays_once_a_month_that_stands_on_it_is_signed_off(opening, account, by):
    sign(by, JULY, "4213.77", LATER)
    with pytest.raises(IntegrityError, match="signed off"), transaction.atomic():
        ledger.reverse_journal(journal=opening, on=date(2026, 9, 3), reason="another account", by=by)
    assert unsound() == []


def test_an_account_opened_in_the_year_counts_from_the_month_of_its_first_entry(opening, account, by):
    savings = Account.objects.create(code="1012", name="Savings", kind="asset", is_money=True)
    saved = BankAccount.objects.create(account=savings, name="Savings")
    lines = [debit(savings, as_amount(500)), credit(Role.BANK, as_amount(500))]
    journal = ledger.record_journal(on=SEPTEMBER, narration="Put by", lines=lines, by=by)
    shown = services.record_statement_line(
        bank_account=saved, on=date(2026, 10, 2), amount=as_amount(500), text="TRANSFER", by=by
    )
    entry = entries_of(journal).get()
    services.explain_line(line=shown, posting=entry.postings.get(account=savings), by=by)
    assert not_signed(saved, FIRST, OCTOBER) == [SEPTEMBER, OCTOBER]
    for until, balance in ((SEPTEMBER, 0), (OCTOBER, 500)):
        services.sign_off_month(bank_account=saved, until=until, statement_balance=as_amount(balance), on=LATER, by=by)
    assert not_signed(saved, FIRST, OCTOBER) == []
    assert unsound() == []


class TestEachMonthCountsForItself:
    def test_a_later_month_signed_off_leaves_the_earlier_ones_missing(self, opening, account, year, by):
        sign(by, SEPTEMBER, "4213.77", LATER)
        item = closing.months_reconciled(year)
        assert not item.done
        assert item.said == ("Club account: July 2026 to August 2026 and October 2026 to June 2027 not signed off")
        assert next_month(account) == JULY

    def test_an_earlier_month_is_signed_off_after_a_later_one_and_must_come_to_it(self, opening, account, by):
        line(by, "60.00", "CASH", date(2026, 9, 9), booked(by, "60.00", "Raffle", date(2026, 9, 9)))
        sign(by, SEPTEMBER, "4273.77", LATER)
        with pytest.raises(Refused, match="September 2026 was signed off with"):
            sign(by, AUGUST, "4200.00", LATER)
        for until in (AUGUST, JULY):
            sign(by, until, "4213.77", LATER)
        assert not_signed(account, FIRST, SEPTEMBER) == []
        assert unsound() == []

    def test_an_account_that_was_emptied_and_closed_needs_no_more_statements(self, opening, account, by):
        booked(by, "-3601.37", "Moved to another bank", date(2026, 8, 3))
        lines = [
            credit(Role.BANK, as_amount("612.40"), fund=FundRole.ENTRY),
            debit(Role.ENTRY_REFUNDS, as_amount("612.40"), fund=FundRole.ENTRY),
        ]
        ledger.record_journal(on=date(2026, 8, 3), narration="The fund", lines=lines, by=by)
        assert not_signed(account, FIRST, OCTOBER) == [JULY, AUGUST]

    def test_the_till_is_proven_month_by_month_by_its_counts(self, opening, year, by, approver):
        assert closing.months_counted(year).done
        factories.hire()
        factories.range_day(date(2026, 8, 8))
        item = closing.months_counted(year)
        assert not item.done
        assert item.said == "1020 Cash box: August 2026 not counted; 1030 Card takings: August 2026 not counted"

    def test_a_till_that_held_less_than_nothing_is_not_proven(self, opening, year, by):
        lines = [credit(Role.TILL, as_amount("100.01")), debit(Role.DONATIONS, as_amount("100.01"))]
        ledger.record_journal(on=date(2026, 8, 8), narration="Paid from the cash box", lines=lines, by=by)
        assert closing.months_counted(year).said == "1020 Cash box: August 2026 to June 2027 not counted"


@pytest.mark.parametrize(
    ("ends", "words"),
    [
        ([JULY], "July 2026"),
        ([JULY, AUGUST], "July 2026 to August 2026"),
        ([JULY, SEPTEMBER, OCTOBER], "July 2026 and September 2026 to October 2026"),
    ],
)
def test_months_are_named_by_spans(ends, words):
    assert named(ends) == words


def test_a_cheque_on_its_way_that_was_dishonoured_next_month_was_on_its_way(opening, account, by):
    journal = ledger.record_journal(
        on=date(2026, 7, 9), narration="Cheque",
        lines=[debit(Role.BANK, as_amount(25)), credit(Role.DONATIONS, as_amount(25))], by=by,
    )  # fmt: skip
    line(by, "25.00", "CHEQUE", date(2026, 8, 2), at_bank(journal))
    ledger.reverse_journal(journal=journal, on=date(2026, 8, 9), reason="dishonoured", by=by)
    line(by, "-25.00", "DISHONOURED", date(2026, 8, 8), undoing(journal))
    july = reconcile(account, JULY, as_amount("4213.77"))
    assert (july.deposits_not_credited, july.recorded_later, july.difference) == (as_amount(25), [], as_amount(0))
    sign(by, JULY, "4213.77", LATER)
    sign(by, AUGUST, "4213.77", LATER)
    assert unsound() == []
