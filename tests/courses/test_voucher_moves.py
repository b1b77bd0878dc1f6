"""A voucher that waits for its child's next fee goes along where the child belongs to another family."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.courses.models import Cohort, Course
from clubdesk.desk.services import nightly
from clubdesk.fees import accounts, selectors
from clubdesk.fees import services as charging
from clubdesk.fees.models import FeeItem, GivesBack, Method, TiedCredit, Voucher, VoucherScheme
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import balance, party_balances
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.roll.models import Person
from tests import factories
from tests.courses.families import FEBRUARY, NOW, OCTOBER, family, sound
from tests.forms import form_of
from tests.locks import in_order

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=3)


@pytest.fixture
def home(db):
    """The family that the child belongs to from now on."""
    return family(9, name="Wren", email="odo@example.org")[0].household


@pytest.fixture(params=["before the course", "once it is income"])
def waits(request, ask, october, by):
    """A fee of 126.00, 100.00 of it by a voucher that was claimed, and the cohort cancelled since."""
    booking = ask(12, cohorts=[october])
    charging.accept_voucher(scheme=factories.scheme(), charge=booking.places.get().charge, code="SV1", on=NOW, by=by)
    charging.lodge_vouchers(scheme=VoucherScheme.objects.get(), on=NOW, by=by)
    charging.record_receipt(household=booking.household, amount=as_amount(26), method=Method.CARD, on=NOW, by=by)
    on = NOW
    if request.param == "once it is income":
        on = OCTOBER + timedelta(days=1)
        charging.recognise_due(on=on, by=by)
    clock.set_today(on)
    services.cancel_cohort(cohort=october, on=on, reason="flood", by=by)
    voucher = Voucher.objects.select_related("charge__household__party", "person").get()
    assert voucher.charge.carried_on == on
    return voucher


def move(voucher, home, by, after=3):
    day = clock.today() + timedelta(days=after)
    clock.set_today(day)
    services.move_person(person=Person.objects.get(pk=voucher.person_id), household=home, on=day, by=by)
    return Voucher.objects.select_related("charge__household").get()


class TestItIsTheChilds:
    def test_it_waits_in_the_new_family_and_nobody_owes_anything_by_it(self, waits, home, by):
        before, in_advance = waits.charge.household, balance(Role.FEES_IN_ADVANCE, clock.today())
        voucher = move(waits, home, by)
        assert (voucher.charge.household, voucher.came_from, voucher.came_with) == (home, before, as_amount(100))
        assert (selectors.balance(before), selectors.balance(home)) == (as_amount(-26), as_amount(0))
        assert balance(Role.FEES_IN_ADVANCE, clock.today()) == in_advance == -100
        assert selectors.vouchers_for_a_next_fee().get() == voucher
        assert sound()

    def test_one_entry_moves_it_from_the_one_account_to_the_other(self, waits, home, by):
        before = waits.charge.household
        move(waits, home, by)
        (entry,) = JournalEntry.objects.filter(source_type="fees.voucher", purpose="moved")
        lines = entry.postings.order_by("-amount").values_list("party__household", "amount")
        assert [(party, amount.amount) for party, amount in lines] == [(before.pk, 100), (home.pk, -100)]

    def test_the_new_familys_next_fee_is_paid_by_it_and_is_the_only_income(self, waits, home, february, by):
        move(waits, home, by)
        booking = services.accept_offer(booking=home.bookings.get(), on=clock.today(), by=by)
        charge = booking.places.get().charge
        assert Voucher.objects.get().charge == charge
        assert selectors.open_amount(charge) == as_amount(26)
        nightly(on=FEBRUARY, by=by)
        assert balance(Role.COURSES, FEBRUARY) == -126
        assert selectors.balance(home) == as_amount(26)
        assert sound()

    def test_refused_there_nobody_owes_it(self, waits, home, by):
        before, voucher = waits.charge.household, move(waits, home, by)
        charging.refuse_voucher(voucher=voucher, on=clock.today(), reason="no such child", by=by)
        assert (selectors.balance(before), selectors.balance(home)) == (as_amount(-26), as_amount(0))
        assert balance(Role.FEES_IN_ADVANCE, clock.today()) == 0
        assert sound()

    def test_paid_short_or_given_back_there_it_is_as_of_any_other(self, waits, home, by):
        voucher = move(waits, home, by)
        charging.answer_lodgement(
            lodgement=voucher.lodgement, paid={voucher.pk: as_amount(90)}, refused={}, on=clock.today(), by=by
        )
        assert selectors.balance(home) == as_amount(0)
        assert sound()
        VoucherScheme.objects.update(gives_back=GivesBack.WHOLE)
        asked = {"invoice": "INV 7", "pay_to": "012-003 4500123", "reason": "left"}
        back = charging.give_back(voucher=voucher, on=clock.today(), by=by, **asked)
        assert (back.household, back.amount, selectors.balance(home)) == (home, as_amount(90), as_amount(0))
        assert sound()

    def test_both_statements_are_what_each_owed_on_each_day(self, waits, home, by):
        families = (waits.charge.household, home)
        move(waits, home, by)
        days = [NOW + timedelta(days=ahead) for ahead in range((clock.today() - NOW).days + 1)]
        told = [[accounts.statement(household, day).closing for household in families] for day in days]
        owed = [party_balances(Role.FEES_OWED, day) for day in days]
        assert told == [[found.get(household.party_id, 0) for household in families] for found in owed]

    def test_moved_twice_it_goes_along_once(self, waits, home, by):
        move(waits, home, by)
        again = move(waits, family(9, name="Sparrow")[0].household, by)
        assert again.charge.household == home
        assert sound()

    def test_a_credit_that_it_made_stays_with_who_had_paid_and_is_no_money(self, ask, october, home, by):
        scheme = factories.scheme()
        VoucherScheme.objects.update(no_money_back=True)
        scheme.refresh_from_db()
        booking = ask(12, cohorts=[october])
        charge = booking.places.get().charge
        charging.record_receipt(household=booking.household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
        charging.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
        move(Voucher.objects.get(), home, by)
        assert TiedCredit.objects.get(freed_on=None).receipt.household == booking.household
        assert selectors.payable_credit(booking.household) == as_amount(26)
        assert sound()


def test_the_page_says_that_it_goes_along_and_that_nobody_owes_more(waits, home, client, coordinator):
    client.force_login(coordinator)
    url = reverse("admin:roll_person_move", args=[waits.person_id])
    shown = client.post(url, form_of(client.get(url), household=str(home.pk))).content.decode()
    assert "<dt>A voucher goes along</dt><dd>$100.00, for the child’s next fee</dd>" in shown
    assert f"{home} owes" not in shown
    assert Person.objects.get(pk=waits.person_id).household != home


class TestTheDatabaseKeeps:
    def test_that_it_goes_to_the_childs_family_alone(self, waits, home, by):
        other = factories.PersonFactory(household=home)
        charge = charging.charge(
            household=home, person=other, price=waits.charge.price, on=clock.today(), starts_on=clock.today(), by=by
        )
        came = {"came_from": waits.charge.household, "came_on": clock.today(), "came_with": waits.amount}
        with pytest.raises(IntegrityError, match="A voucher stays with its fee"), transaction.atomic():
            Voucher.objects.update(charge=charge, first_charge=waits.first_charge or waits.charge, **came)

    def test_that_it_came_along_once(self, waits, home, by):
        move(waits, home, by)
        with pytest.raises(IntegrityError, match="goes along to another family once"), transaction.atomic():
            Voucher.objects.update(came_with=as_amount(1))


class TestWhatIsTakenOver:
    """The new family takes over the fee of another course, which was charged before the voucher came to wait."""

    @pytest.fixture
    def other(self, waits, by):
        """The child's unpaid place in a course that runs in February, of 126.00."""
        course = Course.objects.create(name="Second course", fee_item=FeeItem.objects.get(kind="course"))
        cohort = Cohort.objects.create(
            course=course, name="February", first_session=FEBRUARY, last_session=FEBRUARY, capacity=3
        )
        VoucherScheme.objects.update(pays_courses=False)
        place = services.book_place(person=waits.person, cohort=cohort, on=clock.today(), by=by)
        VoucherScheme.objects.update(pays_courses=True)
        assert selectors.open_amount(place.charge) == as_amount(100), "26.00 was the family's credit"
        return place

    @pytest.fixture
    def take_over(self, waits, other, home, by):
        def moved():
            day = clock.today()
            child = Person.objects.get(pk=waits.person_id)
            services.move_person(person=child, household=home, takes_over=True, on=day, by=by)
            return Voucher.objects.select_related("charge__household").get()

        return moved

    def test_the_voucher_pays_it_and_the_rest_is_to_pay(self, take_over, waits, other, home, by):
        before = waits.charge.household
        voucher = take_over()
        assert (voucher.charge.description, voucher.charge.household) == (other.charge.description, home)
        assert not selectors.vouchers_for_a_next_fee().exists()
        assert (selectors.balance(home), selectors.balance(before)) == (as_amount(26), as_amount(-26))
        nightly(on=FEBRUARY, by=by)
        assert balance(Role.COURSES, FEBRUARY) == -126
        assert sound()

    def test_rows_are_taken_in_the_one_order(self, take_over):
        with in_order() as holds:
            take_over()
        assert holds.faults == set()

    @pytest.mark.parametrize("rule", [{"pays_courses": False}, {"least_sessions": 6}])
    def test_one_whose_scheme_does_not_pay_such_a_fee_waits_on(self, take_over, home, rule):
        VoucherScheme.objects.update(**rule)
        take_over()
        assert selectors.vouchers_for_a_next_fee().get().charge.household == home
        assert selectors.balance(home) == as_amount(126)
        assert sound()

    def test_without_taking_over_it_waits_as_well(self, waits, other, home, by):
        voucher = move(waits, home, by, after=0)
        assert voucher.charge.carried_on
        assert selectors.balance(home) == as_amount(0)
        assert sound()

    def test_the_page_says_what_it_pays_of_it(self, waits, other, home, client, coordinator):
        client.force_login(coordinator)
        url = reverse("admin:roll_person_move", args=[waits.person_id])
        typed = {"household": str(home.pk), "takes_over": "on"}
        shown = client.post(url, form_of(client.get(url), **typed)).content.decode()
        assert "<dt>A voucher goes along</dt><dd>$100.00, and pays of what is taken over</dd>" in shown
        assert f"<dt>{home} owes</dt><dd>$26.00</dd>" in shown
        assert f"<dt>{waits.charge.household} is credited</dt><dd>$126.00</dd>" in shown


class TestBothFamiliesAreTold:
    def told(self, household):
        return Message.objects.filter(household=household).latest("pk").body

    def test_what_became_of_it_and_how_they_stand(self, waits, home, by):
        before = waits.charge.household
        move(waits, home, by)
        assert "the sport voucher of $100.00 goes along" in self.told(before)
        assert "Your account with the club now: $26.00 in credit." in self.told(before)
        assert "It waits for the next fee of Family01. The department has not paid it yet." in self.told(home)
        assert home.name not in self.told(before)
        assert before.name not in self.told(home)

    def test_once(self, waits, home, by):
        move(waits, home, by)
        count = Message.objects.filter(about__startswith=f"voucher {waits.pk} along").count()
        move(waits, home, by)
        assert count == Message.objects.filter(about__startswith=f"voucher {waits.pk} along").count() == 2
