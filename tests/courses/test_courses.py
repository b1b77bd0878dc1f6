"""Places of a course: unpaid, left, moved, cancelled, run, and the letters about each."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.courses.certificate import certificate_pdf
from clubdesk.courses.figures import course_figures
from clubdesk.courses.models import Booking, Certificate, Place, PlaceState, RefundStep
from clubdesk.courses.states import BOOKING, PLACE
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import FeeKind, Method
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message, MessageState
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from tests import factories
from tests.courses.families import FEBRUARY, NOW, OCTOBER, again, family, sound, states
from tests.papers import words_of

pytestmark = pytest.mark.django_db


class TestUnpaidPlaces:
    @pytest.fixture
    def unpaid(self, course, ask):
        course.pay_days, course.reminder_days = 14, 5
        course.save()
        return ask(12, 12)

    def sent(self):
        Message.objects.filter(state="waiting").update(state="sent", sent_at="2026-09-20T00:00Z")

    def test_an_unpaid_place_lapses_after_a_reminder_and_nothing_is_owed(self, unpaid, ask, by):
        waiting = ask(12, 12)
        assert again(unpaid).pay_by == date(2026, 9, 26)
        nightly(on=date(2026, 9, 20), by=by)
        assert again(unpaid).reminded_on is None
        nightly(on=date(2026, 9, 21), by=by)
        assert again(unpaid).reminded_on == date(2026, 9, 21)
        self.sent()
        nightly(on=date(2026, 9, 26), by=by)
        assert again(unpaid).state == "held"
        nightly(on=date(2026, 9, 27), by=by)
        assert again(unpaid).state == "lapsed"
        assert again(waiting).state == "offered"
        assert fees.balance(unpaid.household) == as_amount(0)
        assert sound()

    def test_no_place_lapses_before_its_reminder_has_gone_out(self, unpaid, by):
        nightly(on=date(2026, 9, 21), by=by)
        nightly(on=date(2026, 9, 27), by=by)
        assert again(unpaid).state == "held"

    def test_a_family_without_e_mail_is_reminded_by_phone(self, unpaid, by):
        Message.objects.update(state="no_address", to="")
        services.remind_by_phone(booking=unpaid, on=date(2026, 9, 25), by=by)
        assert again(unpaid).pay_by == date(2026, 9, 30)
        nightly(on=date(2026, 10, 1), by=by)
        assert again(unpaid).state == "lapsed"

    def test_what_is_paid_stays_and_only_the_unpaid_sibling_lapses(self, unpaid, by):
        charging.record_receipt(household=unpaid.household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
        nightly(on=date(2026, 9, 21), by=by)
        self.sent()
        nightly(on=date(2026, 9, 27), by=by)
        assert sorted(states(unpaid)) == ["held", "lapsed"]
        assert (again(unpaid).state, again(unpaid).seats) == ("held", 1)
        assert sound()

    def test_more_time_puts_it_off_and_whoever_has_paid_is_left_alone(self, unpaid, by):
        services.give_more_time(booking=unpaid, pay_by=OCTOBER, on=NOW, reason="voucher is coming", by=by)
        nightly(on=date(2026, 9, 27), by=by)
        assert again(unpaid).reminded_on is None
        charging.record_receipt(household=unpaid.household, amount=as_amount(252), method=Method.CARD, on=NOW, by=by)
        nightly(on=date(2026, 10, 3), by=by)
        assert again(unpaid).reminded_on is None


class TestWithdrawal:
    @pytest.fixture
    def course(self, october):
        for days, percent in ((14, 100), (7, 50)):
            RefundStep.objects.create(course=october.course, days_before=days, percent=percent)
        return october.course

    @pytest.mark.parametrize(
        ("days", "kept"), [(14, "0.00"), (13, "63.00"), (7, "63.00"), (6, "126.00"), (-2, "126.00")]
    )
    def test_the_courses_rule_says_what_is_given_back(self, ask, by, days, kept):
        booking = ask(12)
        on = OCTOBER - timedelta(days=days)
        nightly(on=on, by=by)
        services.withdraw(booking=booking, on=on, reason="ill", by=by)
        assert fees.balance(booking.household) == as_amount(kept)
        nightly(on=OCTOBER, by=by)
        assert balance(Role.COURSES, OCTOBER) == -Decimal(kept)
        assert balance(Role.FEES_IN_ADVANCE, OCTOBER) == 0
        assert sound()

    def test_the_share_rounds_half_up(self, course, by):
        course.fee_item = factories.price(FeeKind.COURSE, "126.03", code="odd").item
        course.save()
        booking = services.book_party(course=course, people=family(12), by=by, on=NOW)
        services.withdraw(booking=booking, on=OCTOBER - timedelta(days=7), reason="ill", by=by)
        # Half of 126.03 is 63.015, which rounds half up to 63.02 given back.
        assert fees.balance(booking.household) == as_amount("63.01")
        assert sound()

    def test_without_a_rule_all_is_given_back(self, ask, course, by):
        course.refund_steps.all().delete()
        booking = ask(12)
        services.withdraw(booking=booking, on=OCTOBER, reason="ill", by=by)
        assert fees.balance(booking.household) == as_amount(0)

    def test_a_voucher_refused_after_a_half_refund_leaves_the_family_owing_what_the_club_keeps(self, ask, by):
        booking = ask(12)
        charge = booking.places.get().charge
        scheme = factories.scheme()
        voucher = charging.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        services.withdraw(booking=booking, on=OCTOBER - timedelta(days=7), reason="ill", by=by)
        # 100 of the 126 are the department's; the family's 26 are credited, the other 37 of its 63 cannot be yet.
        assert fees.balance(booking.household) == as_amount(0)
        charging.refuse_voucher(voucher=voucher, on=OCTOBER, reason="used elsewhere", by=by)
        assert fees.balance(booking.household) == as_amount("63.00")
        assert sound()

    def test_the_credit_pays_something_else_or_is_repaid(self, ask, by):
        booking = ask(12)
        household = booking.household
        charging.record_receipt(household=household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
        services.withdraw(booking=booking, on=NOW, reason="ill", by=by)
        assert fees.unused_credit(household) == as_amount("126.00")
        price = factories.price(FeeKind.OTHER, "26.00", Role.DONATIONS)
        charging.charge(household=household, price=price, on=NOW, starts_on=NOW, by=by)
        charging.repay_credit(household=household, amount=as_amount("100.00"), on=NOW, by=by)
        assert fees.balance(household) == as_amount(0)
        assert sound()

    def test_one_of_a_party_can_leave_and_the_others_stay(self, ask, by):
        booking, waiting = ask(12, 12, 12), ask(12)
        services.withdraw_place(place=booking.places.first(), on=NOW, reason="ill", by=by)
        assert (again(booking).state, again(booking).seats) == ("held", 2)
        assert again(waiting).state == "offered"
        assert sound()

    def test_a_waiting_party_grown_smaller_fits_what_was_free(self, ask, by):
        ask(12, 12)
        waiting = ask(12, 12)
        services.withdraw(booking=waiting, places=waiting.places.all()[:1], on=NOW, reason="football", by=by)
        assert (again(waiting).state, again(waiting).seats) == ("offered", 1)
        assert sound()


class TestTransfer:
    def test_the_money_goes_along_and_is_income_when_the_new_cohort_starts(self, october, february, ask, by):
        booking = ask(12)
        charging.record_receipt(household=booking.household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
        services.transfer(booking=booking, cohort=february, on=NOW, reason="camp", by=by)
        nightly(on=date(2026, 12, 1), by=by)
        assert balance(Role.COURSES, date(2026, 12, 1)) == 0
        nightly(on=FEBRUARY, by=by)
        assert balance(Role.COURSES, FEBRUARY) == Decimal("-126.00")
        assert booking.household.charges.count() == 1
        assert sound()

    def test_a_fee_that_was_income_waits_again(self, october, february, ask, by):
        booking = ask(12)
        charging.record_receipt(household=booking.household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
        nightly(on=OCTOBER, by=by)
        later = date(2026, 10, 6)
        services.transfer(booking=booking, cohort=february, on=later, reason="broken arm", by=by)
        assert balance(Role.COURSES, later) == 0
        assert balance(Role.FEES_IN_ADVANCE, later) == Decimal("-126.00")
        assert fees.balance(booking.household) == as_amount(0)
        assert sound()

    def test_the_seat_that_is_left_is_offered(self, october, february, ask, by):
        booking = ask(12, 12, 12, cohorts=[october])
        waiting = ask(12, cohorts=[october])
        services.transfer(booking=booking, cohort=february, on=NOW, reason="camp", by=by)
        assert again(waiting).state == "offered"
        assert sound()

    def test_what_cannot_be_is_refused_in_words(self, october, february, ask, by):
        booking = ask(12, 12)
        ask(12, 12, cohorts=[february])
        move = {"booking": booking, "on": NOW, "by": by}
        with pytest.raises(Refused, match="has 1 seats left, and 2 would move"):
            services.transfer(cohort=february, reason="camp", **move)
        with pytest.raises(Refused, match="Say why"):
            services.transfer(cohort=february, reason="", **move)
        with pytest.raises(Refused, match="They are in .* already; choose another"):
            services.transfer(cohort=october, reason="camp", **move)
        one = services.transfer(cohort=february, reason="camp", places=booking.places.all()[:1], **move)
        assert {place.cohort for place in one.places.all()} == {october, february}
        assert sound()


class TestCancelledCohort:
    def test_everyone_is_credited_and_offered_the_next_in_order_of_arrival(self, october, february, ask, by):
        late = ask(12, cohorts=[february])
        first, second = ask(12, 12, cohorts=[october]), ask(12, cohorts=[october])
        for booking in (first, second):
            services.change_cohorts(booking=booking, cannot_make=[], on=NOW, by=by)
        services.cancel_cohort(cohort=october, on=NOW, reason="the range is flooded", by=by)
        assert [again(each).state for each in (first, second, late)] == ["offered", "waiting", "held"]
        assert fees.balance(first.household) == as_amount(0)
        assert balance(Role.FEES_IN_ADVANCE, NOW) == Decimal("-126.00")
        assert "flooded" in Message.objects.filter(household=second.household).order_by("pk").last().body
        services.accept_offer(booking=first, on=NOW, by=by)
        assert sound()

    def test_cancelling_twice_credits_once(self, october, ask, by):
        booking = ask(12)
        for _ in range(2):
            services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
        assert booking.household.charges.get().credits.count() == 1
        assert sound()


class TestRunningIt:
    @pytest.fixture
    def place(self, october, by):
        (child,) = family(12)
        return services.book_place(person=child, cohort=october, by=by, on=NOW)

    def come(self, place, by, count):
        for session in place.cohort.sessions[:count]:
            clock.set_today(max(session, clock.today()))
            services.record_attendance(cohort=place.cohort, session=session, present=[place], by=by)

    def test_sessions_are_a_week_apart_unless_the_cohort_says_otherwise(self, october):
        assert october.sessions == [date(2026, 10, day) for day in (4, 11, 18, 25)]
        october.days_between, october.last_session = 1, date(2026, 10, 5)
        assert october.sessions == [date(2026, 10, 4), date(2026, 10, 5)]

    def test_a_certificate_is_for_who_came_often_enough(self, place, by):
        self.come(place, by, 2)
        assert services.issue_certificates(cohort=place.cohort, by=by) == []
        self.come(place, by, 3)
        (certificate,) = services.issue_certificates(cohort=place.cohort, by=by)
        assert certificate.completed_on == date(2026, 10, 18)
        assert services.issue_certificates(cohort=place.cohort, by=by) == []

    def test_its_number_carries_a_luhn_check_digit(self, place, by):
        # Source: ISO/IEC 7812-1 Annex B; reference library python-stdnum.
        from stdnum import luhn

        self.come(place, by, 3)
        services.issue_certificates(cohort=place.cohort, by=by)
        number = Certificate.objects.get().number
        assert luhn.is_valid(number)
        assert luhn.is_valid("79927398713")
        slipped = number[:-1] + str((int(number[-1]) + 1) % 10)
        assert not luhn.is_valid(slipped)

    def test_the_certificate_is_a_page_with_club_name_course_and_number(self, place, by):
        self.come(place, by, 3)
        (certificate,) = services.issue_certificates(cohort=place.cohort, by=by)
        content = certificate_pdf(certificate, "Reedbank Archers")
        text = words_of(content)
        for words in ("Reedbank Archers", "Mirabar1 Mirabar", "Beginner course", "18 October 2026",
                      certificate.shown_number):  # fmt: skip
            assert words in text
        assert certificate_pdf(certificate, "Reedbank Archers") == content

    def test_recording_a_session_again_replaces_who_was_there(self, place, by):
        self.come(place, by, 1)
        services.record_attendance(cohort=place.cohort, session=OCTOBER, present=[], by=by)
        with pytest.raises(Refused, match="has not come yet"):
            services.record_attendance(cohort=place.cohort, session=date(2026, 10, 11), present=[place], by=by)
        assert not place.attendances.exists()
        with pytest.raises(Refused, match="no session"):
            services.record_attendance(cohort=place.cohort, session=date(2026, 10, 5), present=[place], by=by)

    def test_the_figures_of_a_course(self, place, course, by, october):
        self.come(place, by, 3)
        services.issue_certificates(cohort=october, by=by)
        plan = factories.plan()
        joined = date(2026, 11, 30)
        membership.take_out_membership(person=place.person, plan=plan, starts_on=joined, on=joined, by=by)
        (figures,) = course_figures(course, NOW)
        # The last session is on 25 October: 30 days later she is no member yet, 90 days later she is.
        assert (figures.held, figures.fill, figures.completed) == (1, 33, 1)
        assert (figures.members_after_30, figures.members_after_90) == (0, 1)
        assert figures.fees == as_amount("126.00")


class TestLetters:
    def test_each_turn_is_told_once_to_the_guardian(self, ask, by):
        full, waiting = ask(12, 12, 12), ask(12)
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        services.accept_offer(booking=waiting, on=NOW, by=by)
        letters = Message.objects.filter(household=waiting.household).order_by("pk")
        assert [letter.subject for letter in letters] == [
            "Beginner course: your booking",
            "Beginner course: a place for you",
            "Beginner course: your place",
        ]
        assert {letter.to for letter in letters} == {"family1@example.org"}
        assert "waits for Beginner course, as number 1 in the queue." in letters[0].body
        assert "The fee is $126.00. Answer by Saturday, 19 September 2026." in letters[1].body

    def test_a_family_without_an_address_has_its_letter_kept_for_the_phone(self, course, by):
        child = factories.PersonFactory()
        services.book_party(course=course, people=[child], by=by, on=NOW)
        assert Message.objects.get().state == MessageState.NO_ADDRESS

    def test_a_cohort_moved_to_other_days_is_told(self, october, ask, by):
        booking = ask(12)
        october.first_session, october.last_session = date(2026, 10, 11), date(2026, 11, 1)
        services.save_cohort(cohort=october, on=NOW, by=by)
        assert (
            "from 11 October 2026 to 1 November 2026"
            in Message.objects.filter(household=booking.household).latest("pk").body
        )
        nightly(on=OCTOBER, by=by)
        assert balance(Role.COURSES, OCTOBER) == 0
        assert sound()


def test_the_place_states_are_the_ones_that_the_guards_know():
    assert {state.value for state in PlaceState} == set(PLACE.all) == set(BOOKING.all)


def test_a_place_that_ended_never_comes_back(ask, by):
    booking = ask(12)
    services.withdraw(booking=booking, on=NOW, reason="ill", by=by)
    for state in ("held", "waiting", "offered"):
        with pytest.raises(IntegrityError, match="follow one another"), transaction.atomic():
            Place.objects.update(state=state)
    with pytest.raises(IntegrityError, match="follow one another"), transaction.atomic():
        Booking.objects.update(state="offered", offer_lapses_on=NOW)
    with pytest.raises(IntegrityError, match="begins in that state"), transaction.atomic():
        Booking.objects.create(
            course=booking.course, household=booking.household, booked_on=NOW, number=9, rank=9, state="held",
            recorded_by=by,
        )  # fmt: skip


def test_a_familys_own_page_acts_in_its_name(ask, by):
    full, waiting = ask(12, 12, 12), ask(12)
    services.withdraw_by_family(booking=full, places=list(full.places.all()[:1]), on=NOW)
    services.accept_by_family(booking=again(waiting), on=NOW)
    assert "by the family itself" in full.events.get(kind="withdrawn").words
    assert {event.by_whom for event in waiting.events.filter(kind="accepted")} == {"the family itself"}
