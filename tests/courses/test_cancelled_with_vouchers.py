"""A cohort that is cancelled has no income, and a voucher that is claimed already goes with the child to the next."""

import re
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.courses.models import RefundStep
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import accounts, selectors
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, Lodgement, Method, Voucher
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories
from tests.courses.families import FEBRUARY, NOW, OCTOBER, sound

pytestmark = pytest.mark.django_db
LATER = date(2027, 3, 1)


@pytest.fixture
def scheme(book):
    return factories.scheme()


@pytest.fixture
def vouched(ask, october, scheme, by):
    """A fee of 126.00: 100.00 by a voucher that is lodged, 26.00 paid."""
    booking = ask(12, cohorts=[october])
    charging.accept_voucher(scheme=scheme, charge=booking.places.get().charge, code="SV1", on=NOW, by=by)
    charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
    charging.record_receipt(household=booking.household, amount=as_amount(26), method=Method.CARD, on=NOW, by=by)
    return booking


def cancel(cohort, by, on=NOW):
    clock.set_today(on)
    services.cancel_cohort(cohort=cohort, on=on, reason="flood", by=by)


def letter(booking):
    return Message.objects.get(household=booking.household, subject__endswith="cancelled").body


class TestTheVoucherGoesWithTheChild:
    def test_the_next_cohort_is_paid_by_it_and_by_what_the_family_had_paid(self, vouched, october, february, by):
        cancel(october, by)
        accepted = services.accept_offer(booking=vouched, on=NOW, by=by)
        charge = accepted.places.get(state="held").charge
        assert Voucher.objects.get().charge == charge
        assert selectors.open_amount(charge) == as_amount(0)
        assert selectors.balance(vouched.household) == as_amount(0)
        assert sound()

    def test_only_the_cohort_that_runs_has_income(self, vouched, october, february, by):
        cancel(october, by)
        charging.recognise_due(on=OCTOBER + timedelta(days=1), by=by)
        assert balance(Role.COURSES, LATER) == 0
        assert sound()
        services.accept_offer(booking=vouched, on=NOW, by=by)
        nightly(on=FEBRUARY, by=by)
        assert balance(Role.COURSES, LATER) == -126
        assert sound()

    def test_the_letter_says_so(self, vouched, october, february, by):
        cancel(october, by)
        assert "$100.00 that your sport voucher has paid goes with you to your next dates." in letter(vouched)
        assert "You no longer owe the other $26.00." in letter(vouched)
        assert "keeps" not in letter(vouched)

    def test_one_that_the_department_has_paid_goes_along_and_its_money_was_for_the_first_fee(
        self, vouched, october, february, by
    ):
        first = vouched.places.get().charge
        charging.record_lodgement_paid(lodgement=Lodgement.objects.get(), on=NOW, by=by)
        cancel(october, by)
        services.accept_offer(booking=vouched, on=NOW, by=by)
        voucher = Voucher.objects.get()
        assert (voucher.state, voucher.first_charge) == ("paid", first)
        assert f"Paid by voucher: {first}" in [line.text for line in accounts.statement(vouched.household, NOW).lines]
        assert sound()

    def test_refused_while_the_child_waits_nothing_of_it_is_left(self, vouched, october, february, by):
        cancel(october, by)
        charging.refuse_voucher(voucher=Voucher.objects.get(), on=NOW, reason="used elsewhere", by=by)
        services.accept_offer(booking=vouched, on=NOW, by=by)
        assert selectors.balance(vouched.household) == as_amount(100)
        assert sound()

    def test_a_second_cancellation_takes_it_along_again(self, vouched, october, february, by):
        cancel(october, by)
        services.accept_offer(booking=vouched, on=NOW, by=by)
        cancel(february, by)
        factories.cohort(capacity=3, first=date(2027, 4, 4))
        services.offer_free_seats(course=october.course, on=NOW, by=by)
        services.accept_offer(booking=vouched, on=NOW, by=by)
        assert selectors.balance(vouched.household) == as_amount(0)
        assert sound()

    def test_a_place_that_had_lapsed_unpaid_keeps_nothing_of_it_either(
        self, course, ask, october, february, scheme, by
    ):
        """26.00 was never paid, so the place lapsed; the 100.00 that the department was asked for stayed the club's."""
        course.pay_days, course.reminder_days = 5, 2
        course.save()
        lapsed = ask(12, cohorts=[october])
        charging.accept_voucher(scheme=scheme, charge=lapsed.places.get().charge, code="SV1", on=NOW, by=by)
        charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        for days in (3, 6):
            clock.set_today(NOW + timedelta(days=days))
            nightly(on=NOW + timedelta(days=days), by=by)
            Message.objects.filter(state="waiting").update(state="sent", sent_at=clock.now())
        assert lapsed.places.get().state == "lapsed"
        cancel(october, by, on=NOW + timedelta(days=7))
        assert "$100.00 that your sport voucher has paid goes with you to your next dates." in letter(lapsed)
        charging.recognise_due(on=OCTOBER + timedelta(days=1), by=by)
        assert balance(Role.COURSES, LATER) == 0
        assert sound()

    def test_once_the_course_has_begun_its_income_is_taken_back_too(self, vouched, october, february, by):
        nightly(on=OCTOBER, by=by)
        assert balance(Role.COURSES, LATER) == -126
        cancel(october, by, OCTOBER + timedelta(days=7))
        assert balance(Role.COURSES, LATER) == 0
        assert sound()
        services.accept_offer(booking=vouched, on=clock.today(), by=by)
        assert selectors.balance(vouched.household) == as_amount(0)
        assert sound()

    def test_where_the_next_costs_less_nobody_pays_twice_and_nothing_is_lost(self, vouched, october, february, by):
        item = october.course.fee_item
        item.prices.create(valid_from=date(2027, 1, 1), amount=as_amount(80))
        cancel(october, by)
        accepted = services.accept_offer(booking=vouched, on=NOW, by=by)
        assert accepted.places.get(state="held").charge.amount == as_amount(100)
        assert selectors.balance(vouched.household) == as_amount(-26)
        assert sound()

    def test_the_database_lets_a_voucher_go_nowhere_else(self, vouched, ask, february, october, by):
        other = ask(12, cohorts=[february]).places.get().charge
        with pytest.raises(IntegrityError, match="goes with the child"), transaction.atomic():
            Voucher.objects.update(charge=other)
        cancel(october, by)
        with pytest.raises(IntegrityError, match="goes with the child"), transaction.atomic():
            Voucher.objects.update(charge=other)
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            Charge.objects.exclude(carried_on=None).update(carried_on=None)


class TestWhoNeverComesBack:
    LINE = "Claimed voucher that waits for the child’s next fee"

    def test_home_leads_to_the_voucher_until_a_next_fee_takes_it(
        self, client, coordinator, vouched, october, february, by
    ):
        client.force_login(coordinator)
        shown = reverse("admin:fees_voucher_changelist") + "?pays=next"
        assert self.LINE not in text_of(client, reverse("admin:index"))
        assert "0 vouchers" in text_of(client, shown)
        cancel(october, by)
        home = text_of(client, reverse("admin:index"))
        assert self.LINE in home
        assert shown in home
        assert vouched.places.first().person.given_name in text_of(client, shown)
        services.accept_offer(booking=vouched, on=NOW, by=by)
        assert self.LINE not in text_of(client, reverse("admin:index"))


def text_of(client, address):
    return re.sub(r"</?(b|strong|span)\b[^>]*>", "", client.get(address).content.decode())


class TestWhatWasKept:
    @pytest.fixture
    def course(self, october):
        RefundStep.objects.create(course=october.course, days_before=60, percent=100)
        RefundStep.objects.create(course=october.course, days_before=14, percent=50)
        return october.course

    def test_who_withdrew_before_the_club_cancelled_gets_the_rest_back(self, ask, october, by):
        booking = ask(12, cohorts=[october])
        charging.record_receipt(household=booking.household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
        services.withdraw(booking=booking, on=NOW, reason="camp", by=by)
        assert selectors.unused_credit(booking.household) == as_amount(63)
        cancel(october, by)
        assert selectors.unused_credit(booking.household) == as_amount(126)
        assert "You no longer owe the fee of $63.00." in letter(booking)
        nightly(on=OCTOBER, by=by)
        assert balance(Role.COURSES, LATER) == 0
        assert sound()

    def test_the_voucher_of_who_withdrew_pays_the_next_booking(self, vouched, ask, october, february, course, by):
        services.withdraw(booking=vouched, on=NOW, reason="camp", by=by)
        cancel(october, by)
        child = vouched.places.get().person
        booked = services.book_place(person=child, cohort=february, on=NOW, by=by)
        assert selectors.open_amount(booked.charge) == as_amount(0)
        nightly(on=OCTOBER, by=by)
        assert balance(Role.COURSES, LATER) == 0
        assert sound()

    def test_one_letter_tells_a_party_of_which_one_had_left(self, ask, october, by):
        booking = ask(12, 12, cohorts=[october])
        services.withdraw_place(place=booking.places.first(), on=NOW, reason="camp", by=by)
        cancel(october, by)
        assert "You no longer owe the fee of $189.00." in letter(booking)
        assert sound()


def test_a_voucher_is_not_taken_twice_in_a_year_though_its_course_was_cancelled(vouched, october, february, scheme, by):
    cancel(october, by)
    accepted = services.accept_offer(booking=vouched, on=NOW, by=by)
    with pytest.raises(Refused, match="has used a voucher"):
        charging.accept_voucher(
            scheme=scheme, charge=accepted.places.get(state="held").charge, code="SV2", on=NOW, by=by
        )
