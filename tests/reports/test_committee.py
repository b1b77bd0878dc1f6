"""The committee's page tells of the days it is asked for, whatever comes after."""

import io
from datetime import date

import pytest
from pypdf import PdfReader

from clubdesk import clock
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeePrice, Method, Voucher, VoucherScheme
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Fund
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.reports import committee, statements
from clubdesk.reports.papers import CommitteeAsked
from clubdesk.reports.selectors import Figures
from clubdesk.reports.verify import verify
from clubdesk.roll import services as roll
from clubdesk.roll.models import Person
from tests import factories
from tests.papers import words_of

pytestmark = pytest.mark.django_db
JULY, NOW = date(2026, 7, 1), date(2026, 9, 12)


@pytest.fixture
def household(book):
    return factories.HouseholdFactory()


def charged(household, on, by, amount="126.00", person=None):
    price = FeePrice.objects.filter(item__code=f"fee-{amount}").first() or factories.price(
        amount=amount, code=f"fee-{amount}"
    )
    return fees.charge(household=household, person=person, price=price, on=on, starts_on=on, by=by)


def carried(household, starts_on, by):
    """A fee of July of 126.00 that was called off in September, of which a claimed voucher of 100.00 waits."""
    child, price = factories.PersonFactory(household=household), factories.price()
    fee = fees.charge(household=household, person=child, price=price, on=JULY, starts_on=starts_on, by=by)
    fees.accept_voucher(scheme=factories.scheme(), charge=fee, code="SV1", on=JULY, by=by)
    fees.lodge_vouchers(scheme=VoucherScheme.objects.get(), on=JULY, by=by)
    fees.call_off(charge=fee, on=date(2026, 9, 5), reason="flood", by=by)
    return fee


def move(fee, home, by):
    """Its child belongs to another family, and its voucher goes along."""
    before, person = fee.household, fee.person
    Person.objects.filter(pk=person.pk).update(household=home)
    waiting = fees.lock_carried(before, [Person.objects.get(pk=person.pk)])
    assert fees.carry_along(carried=waiting, household=home, on=NOW, by=by)


def section(page, title):
    return next(each for each in page.tables if each.title == title)


def test_who_cancels_later_was_a_member_until_then(household, by):
    junior = factories.PersonFactory(household=household)
    joined = membership.take_out_membership(
        person=junior, plan=factories.plan(), starts_on=date(2026, 7, 6), on=date(2026, 7, 6), by=by
    )
    ends = [date(2026, 7, 31), date(2026, 8, 31), date(2026, 9, 30)]
    assert committee.members(ends) == [1, 1, 1]
    membership.cancel_membership(membership=joined, on=NOW, reason="moved away", by=by)
    assert committee.members(ends) == [1, 1, 0]


def test_a_closed_year_counts_its_members_as_they_were_known_when_it_closed(household, by):
    ledger.open_year(first_day=date(2027, 7, 1), by=by)
    junior = factories.PersonFactory(household=household)
    with clock.on(date(2027, 7, 1)):
        ledger.close_year(year=FinancialYear.objects.get(first_day=JULY), on=date(2027, 7, 1), by=by)
        membership.take_out_membership(
            person=junior, plan=factories.plan(), starts_on=date(2027, 6, 20), on=date(2027, 7, 1), by=by
        )
        assert committee.members([date(2027, 6, 30)]) == [0]
        assert committee.members([date(2027, 7, 31)]) == [1]


def test_it_is_one_page_however_many_funds_and_courses_there_are(household, by):
    for number in range(9):
        Fund.objects.create(code=f"fund-{number}", name=f"Fund number {number} for a purpose with a long name")
    for day in range(2, 25):
        factories.cohort(first=date(2026, 8, day))
    content = CommitteeAsked(JULY, NOW).pdf(NOW)
    assert len(PdfReader(io.BytesIO(content)).pages) == 1
    assert "Fund number 8" in words_of(content)
    assert verify(content).is_genuine


class TestWhoOwes:
    def test_what_families_pay_counts_for_their_oldest_fees(self, household, by):
        charged(household, JULY, by)
        charged(household, date(2026, 9, 1), by, "50.00")
        assert committee.owed_longer_than(60, NOW) == 126
        fees.record_receipt(household=household, amount=as_amount(100), method=Method.CASH, on=date(2026, 9, 5), by=by)
        assert committee.owed_longer_than(60, NOW) == 26
        fees.record_receipt(household=household, amount=as_amount(60), method=Method.CASH, on=date(2026, 9, 8), by=by)
        assert committee.owed_longer_than(60, NOW) == 0

    def test_a_family_that_was_merged_owes_as_long_as_before(self, household, by):
        charged(household, JULY, by)
        one = factories.HouseholdFactory()
        fees.record_receipt(household=one, amount=as_amount(26), method=Method.CASH, on=date(2026, 9, 1), by=by)
        done = roll.merge_families(household=one, other=household, on=NOW, by=by)
        assert committee.owed_longer_than(60, NOW) == 100
        roll.undo_merge(merge=done, on=NOW, by=by)
        assert committee.owed_longer_than(60, NOW) == 126

    def test_what_bounced_or_took_a_newer_fee_back_paid_no_old_one(self, household, by):
        charged(household, JULY, by)
        paid = fees.record_receipt(
            household=household, amount=as_amount(126), method=Method.TRANSFER, on=date(2026, 9, 1), by=by
        )
        fees.cancel_receipt(receipt=paid, on=date(2026, 9, 3), reason="bounced", by=by)
        new = charged(household, date(2026, 9, 1), by, "200.00")
        fees.credit_charge(charge=new, amount=as_amount(200), on=date(2026, 9, 2), reason="withdrew", by=by)
        assert committee.owed_longer_than(60, NOW) == 126

    @pytest.mark.parametrize("starts_on", [JULY, date(2026, 10, 4)], ids=["it was income", "it was to come"])
    def test_a_voucher_that_goes_along_leaves_what_both_families_owed_before(self, household, by, starts_on):
        home, fee = factories.HouseholdFactory(), carried(household, starts_on, by)
        for family, amount in ((household, "50.00"), (home, "70.00")):
            charged(family, JULY, by, amount)
        assert committee.owed_longer_than(60, NOW) == 120
        move(fee, home, by)
        assert committee.owed_longer_than(60, NOW) == 120
        newer = charged(home, NOW, by, "80.00")
        assert committee.owed_longer_than(60, NOW) == 120
        fees.credit_charge(charge=newer, amount=as_amount(30), on=NOW, reason="kindness", by=by)
        assert committee.owed_longer_than(60, NOW) == 120

    def test_nor_does_it_pay_an_older_fee_as_the_next_fee_takes_it(self, household, by):
        fee, child = carried(household, JULY, by), household.people.get()
        charged(household, JULY, by, "50.00")
        fees.charge_next(
            carried=fees.lock_carried(household, [child]), household=household, person=child, price=fee.price,
            description="Next", on=NOW, starts_on=NOW, by=by,
        )  # fmt: skip
        assert Voucher.objects.get().charge.description == "Next"
        assert committee.owed_longer_than(60, NOW) == 50
        assert committee.owed_longer_than(60, date(2026, 9, 10)) == 50

    def test_of_a_past_day_it_is_told_as_before_the_voucher_went_along(self, household, by):
        home, fee = factories.HouseholdFactory(), carried(household, JULY, by)
        charged(household, JULY, by, "50.00")
        before = [committee.owed_longer_than(60, day) for day in (date(2026, 9, 3), date(2026, 9, 6))]
        move(fee, home, by)
        assert (
            [committee.owed_longer_than(60, day) for day in (date(2026, 9, 3), date(2026, 9, 6))] == before == [76, 50]
        )

    def test_a_voucher_that_was_refused_since_paid_no_old_fee(self, household, by):
        child = factories.PersonFactory(household=household)
        fee = charged(household, JULY, by, person=child)
        voucher = fees.accept_voucher(scheme=factories.scheme(), charge=fee, code="SV1", on=date(2026, 9, 1), by=by)
        assert committee.owed_longer_than(60, NOW) == 26
        fees.refuse_voucher(voucher=voucher, on=date(2026, 9, 8), reason="no such child", by=by)
        assert committee.owed_longer_than(60, NOW) == 126
        assert committee.owed_longer_than(60, date(2026, 9, 7)) == 26

    def test_it_is_told_of_the_day_asked_for_and_not_of_today(self, household, by):
        charged(household, JULY, by)
        content = CommitteeAsked(JULY, date(2026, 9, 5)).pdf(NOW)
        fees.record_receipt(household=household, amount=as_amount(126), method=Method.CASH, on=date(2026, 9, 8), by=by)
        page = committee.committee_page(JULY, date(2026, 9, 5))
        assert "126.00 for more than 60 days" in section(page, "Who owes").note
        assert verify(content).is_genuine

    def test_families_in_credit_are_told_apart_and_come_to_the_balance_sheet(self, household, by):
        charged(household, JULY, by)
        other = factories.HouseholdFactory()
        fees.record_receipt(household=other, amount=as_amount(30), method=Method.CASH, on=JULY, by=by)
        rows = {row.words: row.figures["owes"] for row in section(committee.committee_page(JULY, NOW), "Who owes").rows}
        assert (rows["1 family"], rows["1 in credit"]) == (126, -30)
        position = statements.balance_sheet(Figures(JULY, NOW), None)
        stands = {row.label: row.figures[0] for row in position.rows if row.figures}
        assert (stands["Fees owed"], stands["Fees owed, in credit"]) == (126, 30)
