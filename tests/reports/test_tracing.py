"""What money was for, kind of document by kind of document."""

from datetime import date

import pytest

from clubdesk import clock
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind, Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, JournalEntry, Kind, Role, TaxBasis
from clubdesk.ledger.posting import Line
from clubdesk.ledger.selectors import account
from clubdesk.money import as_amount
from clubdesk.reports.selectors import Figures
from clubdesk.reports.tracing import BETWEEN, CASH, Chart, Source, moves
from clubdesk.yearend import services as yearend
from tests import factories
from tests.reports import bridge

pytestmark = pytest.mark.django_db
JULY, LAST = date(2026, 7, 1), date(2027, 6, 30)
AUGUST, SEPTEMBER = date(2026, 8, 3), date(2026, 9, 1)


def money_for(*which, first=JULY, last=LAST):
    """The money that came in for each of the accounts, less what went out; the bridge closes."""
    assert bridge.gaps(first, last) == []
    now = Figures(first, last)
    return [now.cash(account(each) if isinstance(each, Role) else each) for each in which]


def moved(line, against):
    """What moved in the account (or between lines) for the line."""
    return Figures(JULY, LAST).trace(account(line), account(against).pk if isinstance(against, Role) else against)


def moved_until(day):
    return list(moves(None, day, Chart.read()))


@pytest.fixture
def household(book):
    return factories.HouseholdFactory()


@pytest.fixture
def receive(household, by):
    def received(amount, on=JULY):
        return fees.record_receipt(household=household, amount=as_amount(amount), method=Method.CARD, on=on, by=by)

    return received


class TestJournals:
    @pytest.fixture
    def loan(self, book):
        return Account.objects.create(code="2300", name="Loan of the shire", kind=Kind.LIABILITY)

    def test_a_grant_and_a_loan_that_came_in_one_sum_are_each_for_themselves(self, journal, loan):
        journal((Role.BANK, 500), (Role.GRANTS, -300), (loan, -200))
        assert money_for(Role.GRANTS, loan) == [300, 200]

    def test_what_came_for_two_funds_at_once_is_traced_in_each_whatever_the_order_of_the_lines(self, journal):
        general, entry = FundRole.GENERAL, FundRole.ENTRY
        journal(
            (Role.BANK, 30, general), (Role.BANK, 20, entry), (Role.GRANTS, -30, general), (Role.GRANTS, -20, entry)
        )
        now = Figures(JULY, LAST)
        assert [now.cash(account(Role.GRANTS), Fund.objects.get(pk=fund)) for fund in (general, entry)] == [30, 20]

    def test_depreciation_is_for_its_own_line_and_no_money(self, journal):
        journal((Role.DEPRECIATION, 40), (Role.DEPRECIATED, -40))
        assert money_for(Role.DEPRECIATION, Role.DEPRECIATED) == [0, 0]
        assert [moved(line, Role.DEPRECIATED) for line in (Role.DEPRECIATION, Role.DEPRECIATED)] == [-40, 0]

    def test_the_gst_in_an_amount_is_money_of_what_it_is_in(self, journal, by):
        """So receipts are whole, whether a fee was charged or paid at once (common practice, no source)."""
        ledger.register_for_gst(since=JULY, basis=TaxBasis.CASH, by=by)
        journal((Role.TILL, "6.98"), (Role.CASH_ROUNDING, "0.02"), (Role.HIRE, "-6.36"), (Role.GST_COLLECTED, "-0.64"))
        journal((Role.EQUIPMENT, 1000), (Role.GST_PAID, 100), (Role.BANK, -1100))
        journal((Role.GST_COLLECTED, "0.64"), (Role.GST, "-0.64"))
        journal((Role.GST, "0.64"), (Role.BANK, "-0.64"))
        money = money_for(Role.HIRE, Role.CASH_ROUNDING, Role.GST_COLLECTED, Role.EQUIPMENT, Role.GST_PAID, Role.GST)
        assert [str(each) for each in money] == ["7.00", "-0.02", "0.00", "-1100.00", "0.00", "-0.64"]
        assert str(moved(Role.HIRE, Role.GST_COLLECTED)) == "-0.64"

    def test_what_is_put_right_between_two_lines_takes_its_money_along(self, journal):
        repairs, insurance = (Account.objects.get(code=code) for code in ("5050", "5070"))
        journal((repairs, 300), (Role.BANK, -300))
        assert money_for(repairs, insurance) == [-300, 0]
        journal((insurance, 300), (repairs, -300), on=SEPTEMBER)
        assert money_for(repairs, insurance) == [0, -300]
        assert money_for(repairs, insurance, last=AUGUST) == [-300, 0]

    def test_what_was_taken_for_income_and_lessens_an_expense_takes_its_money_along(self, journal):
        repairs = Account.objects.get(code="5050")
        journal((Role.BANK, 30), (Role.DONATIONS, -30))
        journal((Role.DONATIONS, 30), (repairs, -30))
        assert money_for(Role.DONATIONS, repairs) == [0, 30]

    def test_a_gift_in_kind_is_no_money(self, journal):
        materials = Account.objects.get(code="5020")
        journal((materials, 200), (Role.DONATIONS, -200))
        assert money_for(materials, Role.DONATIONS) == [0, 0]
        assert [moved(line, BETWEEN) for line in (Role.DONATIONS, Role.GRANTS)] == [200, 0]

    def test_what_was_not_explained_is_told_where_a_journal_put_it(self, journal):
        journal((Role.BANK, 37), (Role.SUSPENSE, -37))
        assert money_for(Role.SUSPENSE, Role.DONATIONS) == [37, 0]
        journal((Role.SUSPENSE, 37), (Role.DONATIONS, -30), (Role.GRANTS, -7), on=SEPTEMBER)
        assert money_for(Role.SUSPENSE, Role.DONATIONS, Role.GRANTS) == [0, 30, 7]
        assert moved(Role.DONATIONS, Role.SUSPENSE) == 0

    def test_what_a_book_begins_with_is_no_money_of_its_days_whatever_becomes_of_it(self, by):
        lines = [Line(Role.BANK, as_amount(900)), Line(Role.EQUIPMENT, as_amount(400))]
        opening = ledger.record_opening(
            narration="Paper books", lines=[*lines, Line(Role.ACCUMULATED, as_amount(-1300))], by=by
        )
        for money_before in (900, 0):
            assert money_for(Role.ACCUMULATED, Role.EQUIPMENT, Role.BANK) == [0, 0, 0]
            assert Figures(JULY, LAST).money_before() == money_before
            ledger.undo_entries_of(document=opening, on=SEPTEMBER, reason="of another club", by=by)

    def test_the_close_of_a_year_is_for_no_line(self, journal, by):
        journal((Role.BANK, 300), (Role.GRANTS, -300))
        ledger.close_year(year=FinancialYear.objects.get(), on=date(2027, 7, 1), by=by)
        assert money_for(Role.GRANTS, Role.ACCUMULATED) == [300, 0]
        assert [moved(line, BETWEEN) for line in (Role.GRANTS, Role.ACCUMULATED)] == [0, 0]


class TestWhatFamiliesOwedBefore:
    def test_what_was_owed_when_the_book_began_is_for_what_it_was_owed_for(self, household, by):
        """Membership 40 is owed, and 30 was paid ahead for a course: each moves its own amount, once."""
        items = [
            factories.open_item(household, 40, Role.MEMBERSHIPS),
            factories.open_item(factories.HouseholdFactory(), -30, Role.COURSES),
        ]
        fees.bring_in_balances(items=items, by=by)
        until = date(2026, 6, 30)
        found = {}
        for _, (_, line, by_what), cents, _ in moved_until(until):
            if by_what == BETWEEN:
                found[line] = found.get(line, 0) + cents
        owed, ahead = account(Role.MEMBERSHIPS).pk, account(Role.COURSES).pk
        assert (found[owed], found[ahead]) == (-4000, 3000)


class TestEquipment:
    """Bows for 100, bought in July."""

    @pytest.fixture
    def bows(self, journal, by):
        journal((Role.EQUIPMENT, 100), (Role.BANK, -100), on=JULY)
        general = Fund.objects.get(pk=FundRole.GENERAL)
        return yearend.add_equipment(name="Bows", bought_on=JULY, cost=as_amount(100), years=1, fund=general, by=by)

    @pytest.mark.parametrize("proceeds", [60, 0])
    def test_what_it_is_sold_for_is_for_what_is_lost_by_it_and_not_for_its_cost(self, bows, by, proceeds):
        yearend.dispose(equipment=bows, on=JULY, reason="outgrown", proceeds=as_amount(proceeds), by=by)
        assert money_for(Role.DISPOSALS, Role.EQUIPMENT) == [proceeds, -100]
        assert moved(Role.DISPOSALS, Role.EQUIPMENT) == -100

    def test_what_has_lost_all_its_worth_is_no_loss_when_it_goes(self, bows, by):
        with clock.on(date(2027, 7, 1)):
            yearend.depreciate(until=LAST, by=by)
            yearend.dispose(equipment=bows, on=LAST, reason="broken", by=by)
        assert money_for(Role.DISPOSALS, Role.DEPRECIATION, Role.EQUIPMENT) == [0, 0, -100]
        assert moved(Role.DISPOSALS, Role.EQUIPMENT) == 0
        assert moved(Role.DEPRECIATION, Role.DEPRECIATED) == -100


class TestCredits:
    def test_one_that_is_paid_back_leaves_no_money_for_anything(self, household, receive, by):
        receive(70)
        fees.repay_credit(household=household, amount=as_amount(50), on=AUGUST, by=by)
        assert money_for(Role.FEES_OWED, Role.ACCUMULATED) == [20, 0]

    @pytest.mark.parametrize(("what_for", "line"), [(None, Role.FEES_OWED), (Role.HIRE, Role.HIRE)])
    def test_one_that_was_brought_in_is_paid_back_out_of_what_it_was_paid_ahead_for(
        self, household, by, what_for, line
    ):
        fees.bring_in_balances(items=[factories.open_item(household, -30, what_for)], by=by)
        fees.repay_credit(household=household, amount=as_amount(30), on=AUGUST, by=by)
        assert money_for(line, Role.ACCUMULATED) == [-30, 0]

    def test_one_that_was_paid_ahead_for_one_thing_pays_for_another(self, household, by):
        fees.bring_in_balances(items=[factories.open_item(household, -126, Role.MEMBERSHIPS)], by=by)
        fees.charge(household=household, price=factories.price(), on=AUGUST, starts_on=AUGUST, by=by)
        assert money_for(Role.COURSES, Role.MEMBERSHIPS, Role.FEES_OWED) == [0, 0, 0]
        assert [moved(line, BETWEEN) for line in (Role.COURSES, Role.MEMBERSHIPS)] == [126, -126]

    def test_a_repayment_that_the_bank_returns_is_a_familys_credit_again(self, household, receive, by):
        receive(70)
        repaid = fees.repay_credit(household=household, amount=as_amount(70), on=AUGUST, by=by)
        fees.take_repayment_back(repayment=repaid, on=SEPTEMBER, reason="account closed", by=by)
        assert money_for(Role.FEES_OWED, Role.ACCUMULATED, first=SEPTEMBER) == [70, 0]


class TestVouchers:
    @pytest.fixture
    def accept(self, book, by):
        """A child's voucher of 100 set against a new fee."""
        scheme = factories.scheme()

        def accepted(price, code):
            child = factories.PersonFactory()
            charge = fees.charge(household=child.household, person=child, price=price, on=JULY, starts_on=JULY, by=by)
            return fees.accept_voucher(scheme=scheme, charge=charge, code=code, on=JULY, by=by)

        return accepted

    def test_one_that_is_refused_is_no_money_though_the_rest_of_its_lodgement_is_paid(self, accept, by):
        paid = accept(factories.price(), "SV1")
        refused = accept(factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS), "SV2")
        lodged, answer = fees.lodge_vouchers(scheme=paid.scheme, on=AUGUST, by=by), {paid.pk: as_amount(100)}
        fees.answer_lodgement(
            lodgement=lodged, paid=answer, refused={refused.pk: "used elsewhere"}, on=SEPTEMBER, by=by
        )
        assert money_for(Role.COURSES, Role.MEMBERSHIPS, Role.VOUCHERS_OWED) == [100, 0, 0]


class TestSources:
    """Whoever follows a figure finds the entry, or the receipt and the fee that it pays."""

    def test_money_is_a_familys_credit_by_its_entry_and_a_fees_by_its_receipt(self, household, receive, by):
        receipt = receive(70)
        charge = fees.charge(household=household, price=factories.price(), on=AUGUST, starts_on=AUGUST, by=by)
        owed, courses = account(Role.FEES_OWED).pk, account(Role.COURSES).pk
        entry = JournalEntry.objects.get(source_id=receipt.pk, purpose="receipt")
        pays = Source(None, receipt.number, f"Receipt {receipt.number} pays charge {charge.pk}")
        assert [(day, line, cents, source) for day, (_, line, against), cents, source in moved_until(LAST)
                if against == CASH] == [
            (JULY, owed, 7000, Source(entry.number, None, entry.narration)),
            (AUGUST, courses, 7000, pays),
            (AUGUST, owed, -7000, pays),
        ]  # fmt: skip

    def test_a_receipt_that_no_longer_pays_a_fee_says_so(self, household, receive, by):
        receipt = receive(70)
        charge = fees.charge(household=household, price=factories.price(), on=JULY, starts_on=JULY, by=by)
        fees.cancel_receipt(receipt=receipt, on=AUGUST, reason="bounced", by=by)
        words = [source.words for day, _, _, source in moved_until(LAST) if day == AUGUST and source.receipt]
        assert set(words) == {f"Receipt {receipt.number} no longer pays charge {charge.pk}"}
