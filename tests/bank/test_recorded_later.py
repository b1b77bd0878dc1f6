"""What is found out late: a month that is locked is reconciled with what was recorded, or undone, in a later one.

The form has adjustments on both sides. Sources: US Internal Revenue Service, Publication 583, sample record 7; three
worked examples, two of accountingstudy.com, one of partnerperformance.uonbi.ac.ke/preguntia/13542727.
"""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount, HowSure
from clubdesk.bank.reconciling import reconcile
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Journal, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from clubdesk.reports.workbook import workbook_bytes
from tests import factories
from tests.bank.begun import OCTOBER, at_bank, begin, booked, line, sign, undoing, unsound
from tests.papers import words_of
from tests.reports.test_workbook import recalculated, unproven

pytestmark = pytest.mark.django_db
IN_OCTOBER, LOCKED, FOUND = date(2026, 10, 12), date(2026, 11, 2), date(2026, 11, 3)


class Month:
    """An October that is locked before it is reconciled, and what is found out of it in November."""

    def __init__(self, by):
        self.by = by

    def begins_with(self, balance):
        begin(self.by, bank_balance=balance)

    def underway(self, *amounts):
        for amount in amounts:
            booked(self.by, amount, "Deposit" if not amount.startswith("-") else "Cheque", OCTOBER)

    def received(self, amount):
        home = factories.HouseholdFactory()
        return fees.record_receipt(
            household=home, amount=as_amount(amount), method=Method.TRANSFER, on=IN_OCTOBER, by=self.by
        )

    def lock(self):
        ledger.lock_month(month_end=OCTOBER, reason="the committee wanted the figures", by=self.by)

    def shown(self, amount, words, *postings):
        return line(self.by, amount, words, date(2026, 10, 28), *postings)

    def found_late(self, amount, words):
        """Nobody had booked what the bank shows of October; it is recorded on the day it is found."""
        return self.shown(amount, words, booked(self.by, amount, words.capitalize(), FOUND))

    def dishonoured(self, receipt):
        fees.cancel_receipt(receipt=receipt, on=FOUND, reason="dishonoured", by=self.by)
        undone = undoing(receipt)
        self.shown(str(undone.amount.amount), "DISHONOURED", undone)

    def figures(self, statement):
        return reconcile(BankAccount.objects.get(), OCTOBER, as_amount(statement))


@pytest.fixture
def month(book, by):
    with clock.on(FOUND):
        yield Month(by)


def agreed(found, *, deposits, payments, book, adjusted):
    assert found.deposits_not_credited == as_amount(deposits)
    assert found.payments_not_presented == as_amount(payments)
    assert found.book_balance == as_amount(book)
    assert found.adjusted_statement == found.adjusted_book == as_amount(adjusted)
    assert found.obstacles == []


def signed_at_nil(month, statement):
    signed = sign(month.by, OCTOBER, statement, FOUND)
    assert unsound() == []
    return signed


def test_a_charge_and_a_deposit_entered_wrongly_as_the_published_example_has_them(month):
    """Source: US Internal Revenue Service, Publication 583, sample record 7."""
    month.begins_with("867.72")
    month.underway("701.33", "516.08", "-66.70", "-9.80", "-150.00", "-300.00")
    wrong = month.received("594.40")
    month.lock()
    month.found_late("-10.00", "SERVICE CHARGE")
    fees.cancel_receipt(receipt=wrong, on=FOUND, reason="600.40 was paid", by=month.by)
    right = fees.record_receipt(
        household=wrong.household, amount=as_amount("600.40"), method=Method.TRANSFER, on=FOUND, by=month.by
    )
    month.shown("600.40", "TFR", at_bank(right))
    found = month.figures("1458.12")
    agreed(found, deposits="1217.41", payments="526.50", book="2153.03", adjusted="2149.03")
    assert found.adjustments == as_amount("6.00") - as_amount("10.00")
    assert signed_at_nil(month, "1458.12").recorded_later == as_amount("-4.00")


def test_a_deposit_entered_wrongly_is_put_right_by_the_difference_as_well(month):
    """The same example, with a journal of the 6.00 that were missing."""
    month.begins_with("867.72")
    month.underway("701.33", "516.08", "-66.70", "-9.80", "-150.00", "-300.00")
    wrong = booked(month.by, "594.40", "Deposit", IN_OCTOBER)
    month.lock()
    month.shown("600.40", "DEPOSIT", wrong, booked(month.by, "6.00", "Deposit 600.40 entered as 594.40", FOUND))
    month.found_late("-10.00", "SERVICE CHARGE")
    found = month.figures("1458.12")
    agreed(found, deposits="1217.41", payments="526.50", book="2153.03", adjusted="2149.03")
    assert sorted(each.amount for each in found.recorded_later) == [as_amount("-10.00"), as_amount("6.00")]
    signed_at_nil(month, "1458.12")


def test_a_deposit_not_booked_a_dishonoured_receipt_and_a_charge(month):
    """Source: accountingstudy.com, Bank Reconciliation, first example."""
    month.begins_with("505000")
    receipt = month.received("25000")
    month.underway("20000", "-30000")
    month.lock()
    line(month.by, "25000", "CHEQUE", IN_OCTOBER, at_bank(receipt))
    month.dishonoured(receipt)
    month.found_late("10000", "DEPOSIT")
    month.found_late("-5000", "CHARGE")
    agreed(month.figures("510000"), deposits="20000", payments="30000", book="520000", adjusted="500000")
    signed_at_nil(month, "510000")


def test_the_second_example_of_the_same_page(month):
    """Source: accountingstudy.com, Bank Reconciliation, second example."""
    month.begins_with("355000")
    receipt = month.received("8000")
    month.underway("5000", "-9000")
    month.lock()
    line(month.by, "8000", "CHEQUE", IN_OCTOBER, at_bank(receipt))
    month.dishonoured(receipt)
    month.found_late("6000", "DEPOSIT")
    month.found_late("-1000", "CHARGE")
    agreed(month.figures("360000"), deposits="5000", payments="9000", book="359000", adjusted="356000")
    signed_at_nil(month, "360000")


def test_a_payment_that_was_never_booked(month):
    """Source: partnerperformance.uonbi.ac.ke/preguntia/13542727."""
    month.begins_with("8753")
    month.underway("5300", "-2356")
    month.lock()
    for amount, words in (("2820", "COLLECTED"), ("-443", "CHEQUE"), ("-90", "CHARGE"), ("-300", "STANDING ORDER")):
        month.found_late(amount, words)
    agreed(month.figures("10740"), deposits="5300", payments="2356", book="11697", adjusted="13684")
    signed_at_nil(month, "10740")


def test_november_then_has_nothing_left_of_it(month):
    month.begins_with("4213.77")
    month.lock()
    month.found_late("-10.00", "SERVICE CHARGE")
    signed_at_nil(month, "4203.77")
    with clock.on(date(2026, 12, 2)):
        november = reconcile(BankAccount.objects.get(), date(2026, 11, 30), as_amount("4203.77"))
    assert (november.recorded_later, november.on_the_way, november.difference) == ([], [], as_amount(0))


def test_what_was_undone_after_the_month_was_signed_off_leaves_it_as_it_was_signed(month):
    month.begins_with("4213.77")
    receipt = month.received("60.00")
    assert signed_at_nil(month, "4213.77").deposits == as_amount(60)
    fees.cancel_receipt(receipt=receipt, on=FOUND, reason="it never came", by=month.by)
    assert month.figures("4213.77").deposits_not_credited == as_amount(60)
    assert unsound() == []


def test_what_came_in_two_lines_of_two_months_is_on_its_way_for_the_rest(month):
    month.begins_with("4213.77")
    grant = booked(month.by, "100.00", "Grant", IN_OCTOBER)
    account = BankAccount.objects.get()
    lines = [
        bank.record_statement_line(bank_account=account, on=on, amount=as_amount(amount), text="GRANT", by=month.by)
        for on, amount in ((date(2026, 10, 20), 60), (FOUND, 40))
    ]
    bank.clear(lines=lines, postings=[grant], reasons="both parts", by=month.by)
    found = month.figures("4273.77")
    assert (found.deposits_not_credited, found.difference) == (as_amount(40), as_amount(0))
    signed_at_nil(month, "4273.77")


def test_what_was_signed_cannot_be_taken_apart_by_its_later_entry(month):
    month.begins_with("4213.77")
    month.lock()
    late = month.found_late("-10.00", "SERVICE CHARGE")
    signed = signed_at_nil(month, "4203.77")
    with pytest.raises(Refused, match="October 2026 is signed off"):
        bank.undo_clearing(clearing=late.clearings.get().clearing, on=FOUND, reason="x", by=month.by)
    with pytest.raises(IntegrityError, match="keeps what the ledger"), transaction.atomic():
        connection.cursor().execute("UPDATE bank_reconciliation SET recorded_later = 0")
    assert signed.recorded_later == as_amount("-10.00")


class TestBothSidesAreShown:
    @pytest.fixture
    def found(self, month, client, treasurer):
        """October with a deposit on its way, and a charge that was recorded in November, signed off on the page."""
        month.begins_with("4213.77")
        month.underway("60.00")
        month.lock()
        month.found_late("-10.00", "SERVICE CHARGE")
        client.force_login(treasurer)
        account = BankAccount.objects.get()
        url = f"{reverse('admin:reconcile_month')}?account={account.pk}&until=2026-10-31&balance=4203.77"
        assert client.post(url, {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"}).status_code == 302
        return url

    def test_on_the_page_and_on_paper(self, client, found):
        number = entries_of(Journal.objects.get(narration="Service charge")).get().number
        page, paper = client.get(found).content.decode(), words_of(client.get(f"{found}&pdf=1").content)
        for words in (page, paper):
            said = " ".join(words.split())
            assert "Adjusted balance by the statement" in said
            assert f"in the bank, recorded on 3 Nov 2026 by entry {number}" in said
            assert said.count("4,263.77") == 2
        assert "Signed off by treasurer on 3 November 2026." in paper

    def test_in_the_workbook_and_its_proof(self, found, tmp_path):
        content = workbook_bytes(FinancialYear.objects.get(), made_on=FOUND, made_by="the tests")
        book = recalculated(content, tmp_path)
        rows = [row for row in book["Bank reconciliation"].iter_rows(values_only=True) if any(row)]
        header = next(row for row in rows if row[0] == "Account")
        figures = dict(zip(header, rows[rows.index(header) + 1], strict=True))
        assert figures["Adjusted statement"] == figures["Adjusted book"] == 4263.77
        assert unproven(book) == []
        assert (figures["Recorded later"], figures["Difference"]) == (-10, 0)
        locks = [
            row for row in book["Months locked"].iter_rows(values_only=True) if row[1] == "Locked through October 2026"
        ]
        assert [(row[4], "Club account: July 2026 to October 2026 not signed off" in row[5]) for row in locks] == [
            ("the committee wanted the figures", True)
        ]


class TestAnAnswerToALineOfALockedMonth:
    """What is made for it is dated the first open day after, and October is told with it."""

    @pytest.fixture
    def october(self, month):
        month.begins_with("1000.00")
        month.lock()
        return month

    def recorded_in_november(self, october, statement, amount):
        found = october.figures(statement)
        assert [each.amount for each in found.recorded_later] == [as_amount(amount)]
        assert "in the bank, recorded on 1 Nov 2026" in found.recorded_later[0].words
        signed_at_nil(october, statement)

    def test_a_fee_that_a_family_paid(self, october):
        home = factories.HouseholdFactory()
        price = factories.price(amount="126.00")
        with clock.on(FOUND):
            charge = fees.charge(household=home, price=price, on=FOUND, starts_on=FOUND, by=october.by)
        paid = october.shown("126.00", "SOMEBODY")
        bank.accept(
            lines=[paid], answer=[f"charge {charge.pk}"], reasons="seen", how_sure=HowSure.BY_HAND, by=october.by
        )
        self.recorded_in_november(october, "1126.00", "126.00")

    def test_what_somebody_says_of_it(self, october, client, treasurer):
        shown = october.shown("-8.00", "ACCOUNT FEE")
        client.force_login(treasurer)
        page = client.get(reverse("admin:bank_statementline_journal", args=[shown.pk])).content.decode()
        assert "1 Nov 2026, since its month is locked" in page
        lines = [debit(Role.BANK_FEES, as_amount(8)), credit(Role.BANK, as_amount(8))]
        bank.book_line(line=shown, narration="Fee", lines=lines, by=october.by)
        self.recorded_in_november(october, "992.00", "-8.00")

    def test_two_of_which_the_second_takes_the_first_back(self, october, by):
        wrong, back = october.shown("9.00", "WRONG"), line(by, "-9.00", "REVERSAL", date(2026, 11, 2))
        bank.match_correction(lines=[wrong, back], by=by)
        self.recorded_in_november(october, "1009.00", "9.00")

    def test_a_line_from_before_the_book_stays_refused(self, october, by):
        early = line(by, "60.00", "EARLY", date(2026, 6, 3))
        lines = [debit(Role.BANK, as_amount(60)), credit(Role.DONATIONS, as_amount(60))]
        with pytest.raises(Refused, match="No financial year covers 3 Jun 2026"):
            bank.book_line(line=early, narration="Early", lines=lines, by=by)
