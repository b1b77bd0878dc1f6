"""Two people at one thing: the first pauses between what it looks at and what it writes, and the second comes."""

from datetime import date
from typing import NamedTuple

import pytest
from django.db import IntegrityError, transaction

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort, Course, Place
from clubdesk.courses.services import booking, parents
from clubdesk.courses.services.parents import Named, PartyForm
from clubdesk.desk.erasing import erase_person
from clubdesk.entryfund import services as entryfund
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.fees import selectors as owed
from clubdesk.fees import services as fees
from clubdesk.fees.models import Allocation, ClaimFile, FeeKind, GiveBack, Holds, Lodgement, Method, Voucher
from clubdesk.fees.services import accepting, claiming, taking, vouchers
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Fund, Role
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Kit, KitLoan, Paid
from clubdesk.roll.models import Household, Person
from clubdesk.yearend import services as yearend
from clubdesk.yearend.models import BudgetMonth, Comparative
from tests import factories
from tests.sessions import beside

pytestmark = pytest.mark.django_db(transaction=True)
NOW, AUGUST = date(2026, 9, 12), date(2026, 8, 31)
LAST, NEXT = date(2027, 6, 30), date(2027, 7, 1)
SIXTY = as_amount(60)


def faults():
    return [(result.name, result.faults) for result in check_all() if result.faults]


def refused(results):
    return [result.sentence for result in results if isinstance(result, Refused)]


def went_wrong(results):
    return [result for result in results if isinstance(result, Exception) and not isinstance(result, Refused)]


class TestAMonthIsLockedMeanwhile:
    class Family(NamedTuple):
        receipt: object
        other: object

    @pytest.fixture
    def family(self, by):
        """A receipt of July that pays a course, and another fee of the same family that it could pay instead."""
        on, home = date(2026, 7, 10), factories.HouseholdFactory()
        prices = factories.price(amount="60.00"), factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)
        _, other = (fees.charge(household=home, price=price, on=on, starts_on=on, by=by) for price in prices)
        receipt = fees.record_receipt(household=home, amount=SIXTY, method=Method.CARD, on=on, by=by)
        return self.Family(receipt, other)

    def test_what_a_receipt_pays_is_moved_before_the_lock_or_not_at_all(self, family, by):
        results = beside(
            lambda: fees.pay_with(receipt=family.receipt, charges=[family.other], on=date(2026, 8, 20), by=by),
            lambda: ledger.lock_month(month_end=AUGUST, reason="a test", by=by),
            after=(ledger, "refuse_shut"),
        )
        assert went_wrong(results) == []
        assert FinancialYear.objects.get().locked_through == AUGUST
        assert faults() == []

    def test_or_before_the_close_of_the_year(self, family, by):
        year = FinancialYear.objects.get()
        results = beside(
            lambda: fees.pay_with(receipt=family.receipt, charges=[family.other], on=date(2027, 6, 20), by=by),
            lambda: ledger.close_year(year=year, on=NEXT, by=by),
            after=(ledger, "refuse_shut"),
        )
        assert went_wrong(results) == []
        year.refresh_from_db()
        assert year.is_closed
        assert faults() == []

    def test_the_database_itself_lets_nobody_lock_between_what_was_written_and_its_end(self, family, by):
        def by_another_program():
            with transaction.atomic():
                (standing,) = Allocation.objects.filter(receipt=family.receipt)
                Allocation.objects.filter(pk=standing.pk).update(freed_on=date(2026, 8, 20))
                day = {"used_on": date(2026, 8, 20)}
                Allocation.objects.create(receipt=family.receipt, charge=family.other, amount=SIXTY, **day)
                clock.today()

        results = beside(
            by_another_program,
            lambda: ledger.lock_month(month_end=AUGUST, reason="a test", by=by),
            after=(clock, "today"),
        )
        assert went_wrong(results) == []
        assert faults() == []


class TestAYearIsClosedMeanwhile:
    @pytest.fixture
    def year(self, book):
        return FinancialYear.objects.get()

    def test_its_budget_is_planned_before_or_not_at_all(self, year, by):
        account = Account.objects.get(role=Role.GRANTS)
        first = as_amount(10)
        results = beside(
            lambda: yearend.set_budget(year=year, account=account, months={date(2026, 7, 1): first}, by=by),
            lambda: [ledger.close_year(year=year, on=NEXT, by=by), BudgetMonth.objects.count()],
            before=(BudgetMonth.objects, "bulk_create"),
        )
        assert went_wrong(results) == []
        assert BudgetMonth.objects.count() == results[1][1], "the close saw what stands now"

    def test_last_years_figures_are_typed_before_or_not_at_all(self, year, by):
        fund, figures = Fund.objects.get(code="general"), {Account.objects.get(role=Role.GRANTS): as_amount(10)}
        results = beside(
            lambda: yearend.set_comparatives(year_end=date(2026, 6, 30), fund=fund, figures=figures, by=by),
            lambda: [ledger.close_year(year=year, on=NEXT, by=by), Comparative.objects.count()],
            before=(Comparative.objects, "bulk_create"),
        )
        assert went_wrong(results) == []
        assert Comparative.objects.count() == results[1][1]


class TestTwoVouchersOfAYear:
    class TwoFamilies(NamedTuple):
        scheme: object
        charges: list

    @pytest.fixture
    def two(self, by):
        """A child whose fees two families pay."""
        child, price, scheme = factories.PersonFactory(), factories.price(), factories.scheme()
        homes = [child.household, factories.HouseholdFactory()]
        charges = [
            fees.charge(household=home, person=child, price=price, on=NOW, starts_on=NOW, by=by) for home in homes
        ]
        return self.TwoFamilies(scheme, charges)

    def accept(self, two, number, by):
        return fees.accept_voucher(scheme=two.scheme, charge=two.charges[number], code=f"SV{number}", on=NOW, by=by)

    @pytest.mark.parametrize("first", [0, 1])
    def test_through_two_families_one_is_accepted_and_the_schemes_are_lodged(self, two, by, first):
        results = beside(
            lambda: self.accept(two, first, by),
            lambda: self.accept(two, 1 - first, by),
            after=(accepting, "_taken"),
        )
        assert went_wrong(results) == []
        assert len(refused(results)) == 1
        assert fees.lodge_vouchers(scheme=two.scheme, on=NOW, by=by).vouchers.count() == 1
        assert faults() == []

    def test_the_database_itself_counts_them_one_after_another(self, two, by):
        def by_another_program(number):
            with transaction.atomic():
                made = Voucher.objects.create(
                    scheme=two.scheme, person=two.charges[number].person, charge=two.charges[number],
                    code=f"SV{number}", calendar_year=2026, amount=as_amount(1), accepted_on=NOW, recorded_by=by,
                )  # fmt: skip
                clock.today()
                return made

        results = beside(lambda: by_another_program(0), lambda: by_another_program(1), after=(clock, "today"))
        assert "used this year's vouchers" in str(results[1])
        assert Voucher.objects.count() == 1


class TestMoneyThatLeftTheBank:
    @pytest.fixture
    def paid_too_much(self, by):
        home = factories.HouseholdFactory()
        receipt = fees.record_receipt(household=home, amount=as_amount(40), method=Method.TRANSFER, on=NOW, by=by)
        return home, receipt

    @pytest.fixture
    def released(self, paid_too_much, treasurer, approver):
        home, _ = paid_too_much
        account = factories.direct_entry()
        run = bank.make_run(bank_account=account, method="single", pay_on=NOW, on=NOW, by=treasurer, credits=[home])
        return bank.release_run(run=run, on=NOW, by=approver)

    def test_is_written_down_though_the_receipt_was_cancelled_and_the_family_owes_it(self, paid_too_much, released, by):
        home, receipt = paid_too_much
        fees.cancel_receipt(receipt=receipt, on=NOW, reason="another family's", by=by)
        bank.record_paid(run=released, items=list(released.items.all()), on=NOW, by=by)
        assert owed.balance(home) == as_amount(40)
        assert [row.household for row in owed.paid_back_beyond()] == [home]
        assert faults() == []
        fees.record_receipt(household=home, amount=as_amount(50), method=Method.CASH, on=NOW, by=by)
        assert owed.balance(home) == as_amount(-10)
        assert owed.unused_credit(home) == as_amount(10)
        assert not owed.paid_back_beyond().exists()
        assert faults() == []

    def test_also_where_both_happen_at_once(self, paid_too_much, released, by):
        _, receipt = paid_too_much
        results = beside(
            lambda: fees.cancel_receipt(receipt=receipt, on=NOW, reason="another family's", by=by),
            lambda: bank.record_paid(run=released, items=list(released.items.all()), on=NOW, by=by),
            before=(ledger, "undo_entries_of"),
        )
        assert went_wrong(results) == []
        assert {item.state for item in released.items.all()} == {"paid"}
        assert faults() == []

    def test_comes_back_from_the_bank_and_is_owed_no_more(self, paid_too_much, released, by):
        home, receipt = paid_too_much
        fees.cancel_receipt(receipt=receipt, on=NOW, reason="another family's", by=by)
        bank.record_paid(run=released, items=list(released.items.all()), on=NOW, by=by)
        bank.record_returned(item=released.items.get(), on=NOW, reason="account closed", by=by)
        assert owed.balance(home) == as_amount(0)
        assert faults() == []


class TestVouchersInTwoOrders:
    @pytest.fixture
    def voucher(self, by):
        child, scheme = factories.PersonFactory(), factories.scheme()
        charge = fees.charge(
            household=child.household, person=child, price=factories.price(), on=NOW, starts_on=NOW, by=by
        )
        return fees.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)

    def release(self, voucher, by):
        return fees.release_voucher(voucher=voucher, on=NOW, reason="typed wrongly", by=by)

    def test_one_refused_while_its_fee_is_taken_back(self, voucher, by):
        results = beside(
            lambda: fees.refuse_voucher(voucher=voucher, on=NOW, reason="used", by=by),
            lambda: fees.take_back(charge=voucher.charge, on=NOW, reason="ill", by=by),
            after=(vouchers, "_locked"),
        )
        assert went_wrong(results) == []
        assert faults() == []

    def test_one_refused_while_it_is_released(self, voucher, by):
        results = beside(
            lambda: fees.refuse_voucher(voucher=voucher, on=NOW, reason="used", by=by),
            lambda: self.release(voucher, by),
            after=(vouchers, "_locked"),
        )
        assert went_wrong(results) == []
        assert faults() == []

    def test_a_lodgement_paid_while_one_of_it_is_released(self, voucher, by):
        lodgement = fees.lodge_vouchers(scheme=voucher.scheme, on=NOW, by=by)
        results = beside(
            lambda: fees.record_lodgement_paid(lodgement=lodgement, on=NOW, by=by),
            lambda: self.release(voucher, by),
            before=(vouchers, "lock_charges"),
        )
        assert went_wrong(results) == []
        assert len(refused(results)) == 1
        assert faults() == []

    def test_a_lodgement_is_never_empty(self, voucher, by):
        results = beside(
            lambda: fees.lodge_vouchers(scheme=voucher.scheme, on=NOW, by=by),
            lambda: self.release(voucher, by),
            before=(Lodgement.objects, "create"),
        )
        assert went_wrong(results) == []
        assert [lodgement.vouchers.count() for lodgement in Lodgement.objects.all()] in ([], [1])


class TestAnAnswerFromAFile:
    ANSWER = b"Code,Paid,Reason\nSV1,100.00,\n"

    @pytest.fixture
    def voucher(self, by):
        child, scheme, price = factories.PersonFactory(), factories.scheme(), factories.price()
        charge = fees.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
        return fees.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)

    @pytest.fixture
    def claim(self, voucher, by):
        scheme = voucher.scheme
        for place, (heading, holds) in enumerate(
            (("Code", Holds.KEY), ("Paid", Holds.PAID), ("Reason", Holds.REASON)), 1
        ):
            scheme.claim_columns.create(place=place, heading=heading, holds=holds)
        return fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)

    def take(self, claim, by, content=ANSWER):
        return fees.take_answer(lodgement=claim, content=content, on=NOW, by=by)

    def test_read_by_two_at_once_it_is_taken_once(self, claim, by):
        results = beside(
            lambda: self.take(claim, by), lambda: self.take(claim, by), before=(taking, "answer_lodgement")
        )
        assert went_wrong(results) == []
        assert results[0] == results[1]
        assert ClaimFile.objects.filter(kind="answer").count() == 1
        assert faults() == []

    def test_read_while_the_voucher_is_refused_by_hand(self, claim, voucher, by):
        results = beside(
            lambda: self.take(claim, by),
            lambda: fees.refuse_voucher(voucher=voucher, on=NOW, reason="used", by=by),
            before=(taking, "answer_lodgement"),
        )
        assert went_wrong(results) == []
        assert Voucher.objects.get(pk=voucher.pk).state in ("paid", "refused")
        assert faults() == []

    def test_the_file_of_a_claim_made_by_two_at_once_is_one(self, claim, voucher, by):
        results = beside(
            lambda: fees.make_claim_file(lodgement=claim, on=NOW, by=by),
            lambda: fees.make_claim_file(lodgement=claim, on=NOW, by=by),
            before=(claiming, "write_claim_file"),
        )
        assert went_wrong(results) == []
        assert ClaimFile.objects.count() == 1

    def test_a_voucher_given_back_by_two_at_once_is_owed_once(self, claim, voucher, by):
        self.take(claim, by)
        fees.take_back(charge=voucher.charge, on=NOW, reason="left", by=by)
        asked = {"invoice": "INV 7", "pay_to": "012-003 4500123", "reason": "left"}

        def give():
            return fees.give_back(voucher=voucher, on=NOW, by=by, **asked)

        results = beside(give, give, before=(GiveBack.objects, "create"))
        assert went_wrong(results) == []
        assert results[0] == results[1]
        assert faults() == []


class TestANewFamilyForTwoCourses:
    @pytest.fixture
    def cohorts(self, book):
        first = factories.cohort(capacity=6)
        other = Course.objects.create(name="Second course", fee_item=first.course.fee_item)
        days = {"first_session": date(2026, 11, 1), "last_session": date(2026, 11, 22)}
        return [first, Cohort.objects.create(course=other, name="November", capacity=6, **days)]

    @pytest.fixture
    def by_phone(self, cohorts, by):
        people = [Named("Ada", "Mirabar", date(2014, 3, 9))]
        return lambda number: courses.book_by_phone(
            cohorts=[cohorts[number]], people=people, guardian="Mira Mirabar", email="mira@example.org", on=NOW, by=by
        )

    @pytest.fixture
    def on_the_page(self, cohorts):
        child = Named("Ada", "Mirabar", date(2014, 3, 9))

        def booked(number):
            form = PartyForm("Mira Mirabar", "mira@example.org", "", [child], [cohorts[number]], "I agree.")
            key = f"5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a1{number}"
            return courses.book_from_page(course=cohorts[number].course, form=form, on=NOW, key=key)

        return booked

    def test_by_phone_stands_once(self, by_phone):
        results = beside(lambda: by_phone(0), lambda: by_phone(1), before=(booking, "add_household"))
        assert went_wrong(results) == []
        assert (Household.objects.count(), Person.objects.count()) == (1, 1)

    def test_on_the_parents_page_stands_once(self, on_the_page):
        results = beside(lambda: on_the_page(0), lambda: on_the_page(1), before=(parents, "add_household"))
        assert went_wrong(results) == refused(results) == []
        assert (Household.objects.count(), Person.objects.count()) == (1, 1)

    def test_by_phone_and_on_the_page_stands_once(self, by_phone, on_the_page):
        results = beside(lambda: by_phone(0), lambda: on_the_page(1), before=(booking, "add_household"))
        assert went_wrong(results) == refused(results) == []
        assert (Household.objects.count(), Person.objects.count()) == (1, 1)


class TestKitAndACancelledSignOn:
    @pytest.fixture
    def signed(self, by):
        factories.hire()
        day = factories.range_day()
        return rangeday.sign_on(range_day=day, visitor_name="Uncle", gear=Gear.HIRE, paid=Paid.CASH, by=by)

    @pytest.fixture
    def give(self, signed, by):
        bow = Kit.objects.create(number="B01", kind="bow")
        return lambda: rangeday.give_out(kit=bow, sign_on=signed, at=clock.now(), by=by)

    @pytest.fixture
    def cancel(self, signed, by):
        return lambda: rangeday.cancel_sign_on(sign_on=signed, on=NOW, reason="went home", by=by)

    def out_on_a_cancelled_sign_on(self):
        return KitLoan.objects.filter(back_at=None, sign_on__cancelled_on__isnull=False)

    def test_given_out_while_it_is_cancelled(self, give, cancel):
        results = beside(give, cancel, before=(KitLoan.objects, "create"))
        assert went_wrong(results) == refused(results) == []
        assert not self.out_on_a_cancelled_sign_on().exists()

    def test_cancelled_while_it_is_given_out(self, give, cancel):
        results = beside(cancel, give, before=(ledger, "undo_entries_of"))
        assert went_wrong(results) == []
        assert "was cancelled; sign them on again first" in refused(results)[0]
        assert not self.out_on_a_cancelled_sign_on().exists()

    def test_a_day_called_off_brings_the_kit_back(self, give, signed, by):
        give()
        rangeday.call_off_day(range_day=signed.range_day, reason="hail", on=NOW, by=by)
        assert not self.out_on_a_cancelled_sign_on().exists()


class TestAPersonWhoseDetailsWereErased:
    @pytest.fixture
    def child(self, book):
        return factories.PersonFactory()

    @pytest.fixture
    def erase(self, child, by):
        return lambda: erase_person(person=child, on=NOW, by=by)

    def test_is_charged_booked_claimed_for_and_signed_on_no_more(self, child, erase, by):
        price, cohort, event, plan = factories.price(), factories.cohort(), factories.event(), factories.plan()
        factories.hire()
        day = {"on": NOW, "by": by}
        erase()
        child.refresh_from_db()
        for act in (
            lambda: fees.charge(household=child.household, person=child, price=price, starts_on=NOW, **day),
            lambda: courses.book_place(person=child, cohort=cohort, **day),
            lambda: courses.record_reach_check(person=child, checked_by="Jo", **day),
            lambda: membership.take_out_membership(person=child, plan=plan, starts_on=NOW, **day),
            lambda: entryfund.record_claim(
                person=child, event=event, amount=SIXTY, evidence=Evidence(b"it", "application/pdf"), **day
            ),
            lambda: rangeday.sign_on(
                range_day=factories.range_day(), person=child, gear=Gear.HIRE, paid=Paid.CASH, by=by
            ),
        ):
            with pytest.raises(Refused, match="were erased; add them to the roll anew"):
                act()

    def test_booked_while_the_details_are_erased(self, child, erase, by):
        cohort = factories.cohort()
        results = beside(
            lambda: courses.book_place(person=child, cohort=cohort, on=NOW, by=by),
            erase,
            before=(Place.objects, "bulk_create"),
        )
        assert [type(each) for each in results] in ([IntegrityError, Person], [Place, Refused])
        assert Place.objects.filter(person__erased_on__isnull=False).count() == 0

    def test_erased_while_a_place_is_booked(self, child, erase, by):
        cohort = factories.cohort()
        results = beside(
            lambda: courses.book_place(person=child, cohort=cohort, on=NOW, by=by),
            erase,
            after=(Place.objects, "bulk_create"),
        )
        assert [type(each) for each in results] == [Place, Refused]

    def test_charged_by_another_family_while_the_details_are_erased(self, child, erase, by):
        price, home = factories.price(), factories.HouseholdFactory()
        results = beside(
            lambda: fees.charge(household=home, person=child, price=price, on=NOW, starts_on=NOW, by=by),
            erase,
            before=(ledger, "post"),
        )
        assert went_wrong(results) == []
        assert len(refused(results)) == 1
        child.refresh_from_db()
        assert child.erased_on is None
