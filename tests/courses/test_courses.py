"""The waitlist of a course: parties, order, offers, leaving, cancelling, running, and what a family can be told."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.certificate import certificate_pdf
from clubdesk.courses.models import Booking, Certificate, Cohort, Place, PlaceState, RefundStep
from clubdesk.courses.states import BOOKING, PLACE
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import FeeKind, Method
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message, MessageState
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from tests import factories
from tests.papers import words_of

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
OCTOBER, FEBRUARY = date(2026, 10, 4), date(2027, 2, 7)


def sound():
    return [result for result in check_all() if result.faults] == []


def family(*ages, name="Mirabar", email="ida@example.org"):
    """A household with its guardian and a person of each age on the day of booking."""
    household = factories.HouseholdFactory(name=f"{name} family", guardian=f"Ida {name}", email=email, phone="08 7010")
    return [
        factories.PersonFactory(
            household=household, given_name=f"{name}{index}", family_name=name, birth_date=date(2026 - age, 3, 9)
        )
        for index, age in enumerate(ages, 1)
    ]


@pytest.fixture
def october(book):
    return factories.cohort(capacity=3, first=OCTOBER)


@pytest.fixture
def february(october):
    return factories.cohort(capacity=3, first=FEBRUARY)


@pytest.fixture
def course(october):
    return october.course


@pytest.fixture
def ask(course, by):
    """A party asks for the course: `ask(12, 14)` for two children of those ages."""
    made = []

    def booked(*ages, cohorts=None, on=NOW, **more):
        people = family(*(ages or (12,)), name=f"Family{len(made)}", email=f"family{len(made)}@example.org")
        made.append(people)
        return services.book_party(course=course, people=people, cohorts=cohorts, by=by, on=on, **more)

    return booked


def again(booking):
    return Booking.objects.get(pk=booking.pk)


def states(booking):
    return list(booking.places.order_by("pk").values_list("state", flat=True))


def history(booking):
    return [event.words for event in booking.events.all()]


class TestParties:
    def test_a_party_takes_its_places_together(self, october, ask):
        booking = ask(10, 12, 15)
        assert (again(booking).state, again(booking).seats) == ("held", 3)
        assert selectors.seats_left(october) == 0
        assert sound()

    def test_a_party_that_does_not_fit_waits_whole(self, october, ask):
        ask(12, 12)
        booking = ask(12, 12)
        assert states(booking) == ["waiting", "waiting"]
        assert selectors.seats_left(october) == 1
        assert sound()

    def test_it_gets_the_first_cohort_with_room_for_all_of_it(self, october, february, ask):
        ask(12, 12)
        booking = ask(12, 12)
        assert {place.cohort for place in booking.places.all()} == {february}

    def test_a_guardian_who_comes_along_pays_the_adults_fee(self, course, october, by):
        course.adult_fee_item = factories.price(FeeKind.COURSE, "148.00", code="adult").item
        course.save()
        people = family(12, 41)
        booking = services.book_party(course=course, people=people, by=by, on=NOW)
        fees_charged = [place.charge.amount for place in booking.places.order_by("person__birth_date")]
        assert fees_charged == [as_amount("148.00"), as_amount("126.00")]
        assert sound()

    def test_a_party_is_of_one_household_and_at_most_six(self, course, by):
        with pytest.raises(Refused, match="one household"):
            services.book_party(course=course, people=[*family(12), *family(12, name="Solano")], by=by, on=NOW)
        with pytest.raises(Refused, match="at most 6"):
            services.book_party(course=course, people=family(*[12] * 7), by=by, on=NOW)
        with pytest.raises(Refused, match="Say who"):
            services.book_party(course=course, people=[], by=by, on=NOW)

    def test_nobody_waits_twice_or_waits_beside_a_place(self, october, course, ask, by):
        held = ask(12, 12, 12)
        waiting = ask(12)
        for booking in (held, waiting):
            person = booking.places.first().person
            with pytest.raises(Refused, match="already"):
                services.book_party(course=course, people=[person], by=by, on=NOW)

    # Common practice, no source: a younger child may start after a reach check.
    def test_a_younger_child_needs_a_reach_check(self, course, october, by):
        (child,) = family(9)
        with pytest.raises(Refused, match="is 9 on the first session .* Record a reach check"):
            services.book_party(course=course, people=[child], by=by, on=NOW)
        check = services.record_reach_check(person=child, checked_by="Coach Wirrin", on=NOW, by=by)
        assert str(check).endswith("12 Sep 2026, by Coach Wirrin")
        assert services.book_party(course=course, people=[child], by=by, on=NOW).state == "held"

    def test_a_child_who_waits_for_a_reach_check_is_offered_a_free_seat_once_it_is_recorded(self, ask, by):
        booking = ask(9, by_the_family=True)
        assert booking.state == "waiting"
        services.record_reach_check(person=booking.places.get().person, checked_by="Coach Wirrin", on=NOW, by=by)
        assert again(booking).state == "offered"
        assert any("reach check" in words for words in history(booking))
        assert sound()

    @pytest.mark.parametrize(("born", "first", "old_enough"), [
        (date(2016, 2, 29), date(2026, 2, 28), False),
        (date(2016, 2, 29), date(2026, 3, 1), True),
        (date(2018, 2, 28), date(2028, 2, 29), True),
        (date(2018, 3, 1), date(2028, 2, 29), False),
    ])  # fmt: skip
    def test_born_by_agrees_with_the_age_on_the_first_session(self, book, born, first, old_enough):
        cohort = factories.cohort(first=first.replace(day=1))
        cohort.first_session = first
        assert (born <= cohort.born_by) == old_enough == (factories.PersonFactory(birth_date=born).age_on(first) >= 10)


class TestTheOrder:
    def test_a_party_passed_over_keeps_its_position_and_the_reason_is_told(self, october, ask, by):
        first = ask(12, 12)
        large, small = ask(12, 12), ask(12, cohorts=[october])
        assert states(small) == ["held"]
        assert history(large)[-1] == (
            "Passed over for From 2026-10-04, keeping the position: wants 2 places together, 1 was free."
        )
        assert selectors.position(large) == 1
        services.withdraw(booking=first, on=NOW, reason="ill", by=by)
        assert again(large).state == "offered"
        assert sound()

    def test_a_cohort_that_a_party_cannot_make_passes_it(self, october, february, ask, by):
        full = ask(12, 12, 12, cohorts=[october])
        ask(12, 12, 12, cohorts=[february])
        picky, easy = ask(12, cohorts=[february]), ask(12)
        services.withdraw(booking=full, places=full.places.all()[:1], on=NOW, reason="ill", by=by)
        assert (again(picky).state, again(easy).state) == ("waiting", "offered")
        assert history(picky)[-1].endswith("cannot make From 2026-10-04.")
        services.change_cohorts(booking=picky, cannot_make=[], on=NOW, by=by)
        assert history(picky)[-1] == "Can make every cohort."
        assert sound()

    def test_a_new_cohort_is_offered_to_who_waits_in_order(self, course, ask, by):
        ask(12, 12, 12)
        waiting = [ask(12) for _ in range(4)]
        new = Cohort(course=course, name="New", first_session=FEBRUARY, last_session=FEBRUARY, capacity=3)
        services.save_cohort(cohort=new, on=NOW, by=by)
        assert [again(booking).state for booking in waiting] == ["offered", "offered", "offered", "waiting"]
        assert sound()

    def test_the_order_changes_only_with_a_reason_which_is_kept_with_the_person(self, ask, coordinator, by):
        ask(12, 12, 12)
        first, second, third = (ask(12) for _ in range(3))
        with pytest.raises(Refused, match="Say why"):
            services.move_in_queue(booking=third, before=first, on=NOW, reason=" ", by=by)
        services.move_in_queue(booking=third, before=first, on=NOW, reason="promised in June", by=coordinator)
        services.move_in_queue(booking=first, before=None, on=NOW, reason="asked to wait", by=coordinator)
        assert [selectors.position(each) for each in map(again, (first, second, third))] == [3, 2, 1]
        event = third.events.last()
        assert event.words == "Moved in front of booking 2: promised in June"
        assert event.recorded_by == coordinator
        assert selectors.position(ask(12)) == 4
        assert sound()

    def test_parties_can_be_moved_again_and_again(self, ask, by):
        ask(12, 12, 12)
        first, second, third = (ask(12) for _ in range(3))
        for _ in range(8):
            services.move_in_queue(booking=again(third), before=again(second), on=NOW, reason="turn", by=by)
            services.move_in_queue(booking=again(second), before=again(third), on=NOW, reason="turn", by=by)
        assert [selectors.position(each) for each in map(again, (first, second, third))] == [1, 2, 3]
        assert sound()

    @pytest.mark.parametrize(
        "sql",
        [
            "UPDATE courses_booking SET rank = rank + 1",
            "UPDATE courses_booking SET number = number + 9",
            "UPDATE courses_bookingevent SET words = 'nothing'",
            "DELETE FROM courses_bookingevent",
            "DELETE FROM courses_place",
            "UPDATE courses_cohort SET capacity = 2",
            "UPDATE courses_cohort SET cancelled_on = '2026-09-12'",
        ],
    )
    def test_the_database_itself_keeps_the_order_and_the_history(self, ask, sql):
        ask(12, 12, 12)
        ask(12)
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)

    def test_no_place_is_put_into_a_cancelled_or_another_courses_cohort(self, october, ask, by):
        booking = ask(12)
        services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
        place = booking.places.filter(state="waiting").get()
        with pytest.raises(IntegrityError, match="cancelled"), transaction.atomic():
            booking.places.filter(pk=place.pk).update(state="offered", cohort=october)

    def test_the_history_reads_as_sentences(self, october, ask, by):
        full, waiting = ask(12, 12, 12), ask(12)
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        services.accept_offer(booking=waiting, on=NOW, by=by)
        assert [str(event) for event in waiting.events.all()] == [
            "12 Sep 2026: Booked for Family11: booking 2 of Beginner course. (the nightly run)",
            "12 Sep 2026: Offered 1 place in From 2026-10-04 until 19 Sep 2026. (the nightly run)",
            "12 Sep 2026: Accepted: Family11 in From 2026-10-04. (the nightly run)",
        ]


class TestOffers:
    def test_an_offer_holds_the_seats_until_it_lapses_and_then_goes_on_at_once(self, october, ask, by):
        full = ask(12, 12, 12)
        first, second = ask(12, 12), ask(12, 12, 12)
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        assert again(first).offer_lapses_on == date(2026, 9, 19)
        assert [again(first).state, again(second).state] == ["offered", "waiting"]
        assert ask(12, cohorts=[october]).state == "held"
        for _ in range(2):
            nightly(on=date(2026, 9, 20), by=by)
            assert [again(first).state, again(second).state] == ["lapsed", "waiting"]
        with pytest.raises(Refused, match="no offer open"):
            services.accept_offer(booking=first, on=date(2026, 9, 20), by=by)
        assert sound()

    def test_an_offer_close_to_the_start_lapses_on_the_first_session(self, october, ask, by):
        full, waiting = ask(12, 12, 12), ask(12)
        services.withdraw(booking=full, on=date(2026, 10, 1), reason="ill", by=by)
        assert again(waiting).offer_lapses_on == OCTOBER

    def test_a_cohort_that_has_begun_is_offered_to_nobody_but_can_be_booked_by_hand(self, october, ask, by):
        late = date(2026, 10, 11)
        full, waiting = ask(12, 12, 12), ask(12)
        services.withdraw(booking=full, on=late, reason="ill", by=by)
        assert again(waiting).state == "waiting"
        (child,) = family(12, name="Late")
        assert services.book_place(person=child, cohort=october, by=by, on=late).state == "held"
        assert "begun" in history(waiting)[-1]
        assert sound()

    def test_accepting_twice_charges_once(self, ask, by):
        full, waiting = ask(12, 12, 12), ask(12)
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        for _ in range(2):
            services.accept_offer(booking=waiting, on=NOW, by=by)
        assert waiting.household.charges.count() == 1
        assert sound()

    def test_nightly_twice_changes_nothing_the_second_time(self, course, ask, by):
        course.pay_days = 10
        course.save()
        full, *_ = [ask(12, 12, 12), *(ask(12) for _ in range(3))]
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        for day in (date(2026, 9, 20), date(2026, 10, 4), date(2026, 11, 1)):
            nightly(on=day, by=by)
            before = [list(model.objects.order_by("pk").values()) for model in (Booking, Message)]
            nightly(on=day, by=by)
            assert [list(model.objects.order_by("pk").values()) for model in (Booking, Message)] == before
        assert sound()


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
        assert unpaid.pay_by is None or again(unpaid).pay_by == date(2026, 9, 26)
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
        (figures,) = selectors.course_figures(course, NOW)
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
        assert "The fee is 126.00. Answer by Saturday, 19 September 2026." in letters[1].body

    def test_a_family_without_an_address_has_its_letter_kept_for_the_phone(self, course, by):
        child = factories.PersonFactory()
        services.book_party(course=course, people=[child], by=by, on=NOW)
        assert Message.objects.get().state == MessageState.NO_ADDRESS

    def test_a_cohort_moved_to_other_days_is_told(self, october, ask, by):
        booking = ask(12)
        october.first_session, october.last_session = date(2026, 10, 11), date(2026, 11, 1)
        services.save_cohort(cohort=october, on=NOW, by=by)
        assert "from 11 Oct 2026 to 1 Nov 2026" in Message.objects.filter(household=booking.household).latest("pk").body
        nightly(on=OCTOBER, by=by)
        assert balance(Role.COURSES, OCTOBER) == 0
        assert sound()


def test_the_place_states_are_the_ones_that_the_guards_know():
    assert {state.value for state in PlaceState} == set(PLACE.all) == set(BOOKING.all)


def test_a_place_that_ended_never_comes_back(ask, by):
    booking = ask(12)
    services.withdraw(booking=booking, on=NOW, reason="ill", by=by)
    for rows in (Place.objects, Booking.objects):
        for state in ("held", "waiting", "offered"):
            with pytest.raises(IntegrityError, match="follow one another"), transaction.atomic():
                rows.update(state=state, offer_lapses_on=NOW) if rows is Booking.objects else rows.update(state=state)
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


class TestTheCoordinatorsScreens:
    KEY = "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"

    @pytest.fixture
    def desk(self, client, coordinator):
        client.force_login(coordinator)
        return client

    def new_family(self, cohort, **more):
        return {
            "key": self.KEY, "guardian": "Ida Solano", "phone": "08 7010", "email": "ida@example.org",
            "given_name": "Ada", "family_name": "Solano", "birth_date": "2014-05-05", "cohorts": [cohort.pk], **more,
        }  # fmt: skip

    def test_a_parent_on_the_phone_takes_one_screen_of_eight_fields(self, desk, october):
        url = reverse("admin:courses_booking_add")
        assert len(desk.get(url).context["form"].visible_fields()) == 8
        for _ in range(2):
            answer = desk.post(url, self.new_family(october), follow=True)
        assert "Ada has a place in Beginner course" in answer.content.decode()
        assert Booking.objects.count() == 1
        again = self.new_family(october, key="6b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01")
        assert "is on the roll already (Solano family)" in desk.post(url, again).content.decode()

    @pytest.mark.parametrize(("wrong", "sentence"), [
        ({"guardian": ""}, "or write down a new family"),
        ({"cohorts": []}, "This field is required"),
        ({"birth_date": "2018-05-05"}, "Record a reach check"),
    ])  # fmt: skip
    def test_what_is_missing_is_said(self, desk, october, wrong, sentence):
        answer = desk.post(reverse("admin:courses_booking_add"), self.new_family(october) | wrong)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert not Booking.objects.exists()

    def test_a_family_books_together_from_its_own_page(self, desk, october):
        people = family(12, 14)
        url = reverse("admin:roll_household_book-course", args=[people[0].household_id])
        form = {"key": self.KEY, "people": [each.pk for each in people], "cohorts": [october.pk]}
        assert "Mirabar1 and Mirabar2 have places" in desk.post(url, form, follow=True).content.decode()

    def test_what_was_mistyped_is_refused_before_letters_go_out(self, desk, october, course, ask, by):
        ask(12, 12)
        october.first_session = date(2026, 9, 11)
        with pytest.raises(Refused, match="11 Sep 2026 has passed"):
            services.save_cohort(cohort=october, on=NOW, by=by)
        with pytest.raises(Refused, match="has not come yet"):
            (child,) = family(9, name="Young")
            services.record_reach_check(person=child, checked_by="Coach", on=date(2027, 9, 12), by=by)
        url = reverse("admin:courses_cohort_add")
        form = {"course": course.pk, "name": "X", "first_session": "2026-12-06", "last_session": "2026-11-06",
                "days_between": 0, "capacity": 2}  # fmt: skip
        text = desk.post(url, form).content.decode()
        assert "The last session is before the first." in text
        assert "Constraint" not in text
        steps = {"refund_steps-TOTAL_FORMS": 2, "refund_steps-INITIAL_FORMS": 0, "refund_steps-0-days_before": 28,
                 "refund_steps-0-percent": 10, "refund_steps-1-days_before": 7, "refund_steps-1-percent": 90,
                 "name": course.name, "fee_item": course.fee_item_id, "minimum_age": 10, "offer_days": 7,
                 "sessions_to_complete": 3, "reminder_days": 7}  # fmt: skip
        text = desk.post(reverse("admin:courses_course_change", args=[course.pk]), steps).content.decode()
        assert "Who withdraws later would get more back" in text

    def test_a_new_cohort_says_who_was_offered_its_seats(self, desk, course, ask):
        ask(12, 12, 12)
        ask(12, 12)
        form = {"course": course.pk, "name": "Summer", "first_session": "2026-12-06", "last_session": "2026-12-27",
                "days_between": 7, "capacity": 2}  # fmt: skip
        text = desk.post(reverse("admin:courses_cohort_add"), form, follow=True).content.decode()
        assert "1 waiting parties were offered 2 seats" in text

    def test_a_cohort_tells_only_of_the_offers_that_it_made_itself(self, october, course, ask, by):
        full, waiting, other = ask(12, 12, 12), ask(12, 12), ask(12)
        saved = services.save_cohort(cohort=october, on=NOW, by=by)
        assert (saved.offered, saved.seats) == ((), 0)
        services.withdraw(booking=full, places=full.places.all()[:2], on=NOW, reason="ill", by=by)
        assert again(waiting).state == "offered"
        october.capacity = 4
        saved = services.save_cohort(cohort=october, on=NOW, by=by)
        assert (list(saved.offered), saved.seats) == ([other], 1)

    def test_the_finder_finds_who_waits_only_where_the_order_asks(self, desk, ask):
        held, waiting = ask(12, 12, 12), ask(12)

        def found(model, field):
            asked = {"app_label": "courses", "model_name": model, "field_name": field, "term": ""}
            answer = desk.get(reverse("admin:autocomplete"), asked).json()
            return {int(row["id"]) for row in answer["results"]}

        assert found("bookingevent", "booking") == {waiting.pk}
        assert found("place", "booking") == {held.pk, waiting.pk}

    def test_who_may_only_look_does_nothing(self, auditor, ask):
        booking = ask(12)
        with pytest.raises(Refused, match="Withdraw: your sign-in may not do that"):
            services.withdraw(booking=booking, on=NOW, reason="ill", by=auditor)
        with pytest.raises(Refused, match="your sign-in may not do that"):
            services.lapse_offers_of(course=booking.course, on=NOW, by=auditor)

    def test_withdrawing_says_what_became_of_the_money_and_the_seat(self, desk, october, ask):
        full, waiting = ask(12, 12, 12), ask(12)
        waiting.guardian.email = ""
        waiting.guardian.save()
        url = reverse("admin:courses_booking_withdraw", args=[full.pk])
        assert desk.get(url).content.decode().count(" checked") == 0
        form = {"key": self.KEY, "places": [full.places.first().pk], "on": "2026-09-12", "reason": "too busy"}
        text = desk.post(url, form, follow=True).content.decode()
        assert "Withdrawn: Family01, too busy; 126.00 of the fee taken back." in text
        assert "Family1 family: Offered 1 place in From 2026-10-04 until 19 Sep 2026." in text

    def test_a_family_without_e_mail_is_to_be_told_by_phone(self, desk, october):
        url = reverse("admin:courses_booking_add")
        text = desk.post(url, self.new_family(october, email=""), follow=True).content.decode()
        assert "No letter can go out" in text
        assert "tell them yourself on 08 7010" in text

    def test_the_pages_of_a_booking_do_what_they_say(self, desk, october, february, ask, by):
        full, waiting, last = ask(12, 12, 12, cohorts=[october]), ask(12, cohorts=[october]), ask(12, cohorts=[october])
        page = lambda booking, slug: reverse(f"admin:courses_booking_{slug}", args=[booking.pk])  # noqa: E731
        moved = {"key": self.KEY, "before": waiting.pk, "reason": "promised"}
        assert "or the end of the waitlist" in desk.post(page(last, "move"), moved | {"last": "on"}).content.decode()
        desk.post(page(last, "move"), moved)
        assert selectors.position(again(last)) == 1
        desk.post(page(waiting, "cohorts"), {"key": self.KEY, "cannot_make": [october.pk]})
        assert again(waiting).state == "offered"
        assert waiting.places.get().cohort == february
        desk.post(page(waiting, "accept"), {"key": self.KEY, "on": "2026-09-12"})
        assert again(waiting).state == "held"
        places = [place.pk for place in full.places.all()]
        form = {"key": self.KEY, "places": places[:2], "cohort": february.pk, "on": "2026-09-12", "reason": "camp"}
        assert "moved" not in desk.post(page(full, "transfer"), form, follow=True).content.decode()
        assert again(last).state == "offered"
        form = {"key": self.KEY, "places": places[2:], "on": "2026-09-12", "reason": "ill"}
        desk.post(page(full, "withdraw"), form)
        assert sorted(states(full)) == ["held", "held", "withdrawn"]
        text = desk.get(reverse("admin:courses_booking_change", args=[full.pk])).content.decode()
        assert "Transferred from From 2026-10-04 to From 2027-02-07: Family01 and Family02, camp." in text
        assert "Beginner course: transferred" in text
        assert sound()

    def test_the_cohort_page_says_what_to_do_next_each_a_click(self, desk, october, ask, by):
        ask(12, 12)
        ask(12, 12)
        single = ask(12)
        text = desk.get(reverse("admin:courses_cohort_change", args=[october.pk])).content.decode()
        assert "3 of 3 seats taken: 3 held, 0 offered" in text
        assert "Record their payment" in text
        assert "1 party waits for Beginner course" in text
        services.withdraw(booking=single, on=NOW, reason="ill", by=by)
        with clock.on(date(2026, 10, 26)):
            form = {"key": self.KEY, "session": "2026-10-04",
                    "present": [place.pk for place in october.places.filter(state="held")]}  # fmt: skip
            url = reverse("admin:courses_cohort_attendance", args=[october.pk])
            for day in ("2026-10-04", "2026-10-11", "2026-10-18"):
                assert desk.post(url, form | {"session": day}).status_code == 302
            desk.post(url, form | {"session": "2026-10-25", "present": []})
            first = desk.get(url, {"session": "2026-10-04"}).content.decode()
            assert "Who came on Sunday, 4 October 2026" in first
            assert (first.count(" checked"), desk.get(url).content.decode().count(" checked")) == (2, 0)
            desk.post(reverse("admin:courses_cohort_certificates", args=[october.pk]), {"key": self.KEY})
            assert Certificate.objects.count() == 2
            sheet = desk.get(reverse("admin:course_sheet", args=[october.pk])).content.decode()
            assert sheet.count('aria-label="came"') == 6
            assert "08 7010" in sheet

    def test_cancelling_a_cohort_shows_first_what_is_credited(self, desk, october, ask):
        ask(12, 12)
        url = reverse("admin:courses_cohort_cancel", args=[october.pk])
        assert "252.00" in desk.get(url).content.decode()
        desk.post(url, {"key": self.KEY, "on": "2026-09-12", "reason": "flood"})
        october.refresh_from_db()
        assert october.cancelled_on == NOW
        assert sound()

    def test_the_course_page_shows_the_queue_with_the_likely_wait_and_the_figures(self, desk, course, ask):
        ask(12, 12, 12)
        ask(12)
        text = desk.get(reverse("admin:courses_course_change", args=[course.pk])).content.decode()
        assert "about January 2027 (" in text
        assert "of 16 places booked half a year ahead about 12 are kept" in text
        assert "378.00" in text

    def test_a_letter_that_failed_is_sent_to_another_guardian_and_to_nobody_else(self, desk, ask):
        household = ask(12).household
        household.guardians.create(name="Ulf Mirabar", email="right@example.org")
        letter = Message.objects.get()
        Message.objects.update(state="failed", outcome="550 no such mailbox")
        url = reverse("admin:mail_message_send-again", args=[letter.pk])
        assert "550 no such mailbox" in desk.get(url).content.decode()
        assert desk.post(url, {"key": self.KEY, "to": "stranger@example.org"}).status_code == 422
        desk.post(url, {"key": self.KEY, "to": "right@example.org"})
        letter.refresh_from_db()
        assert (letter.state, letter.to) == ("waiting", "right@example.org")
        page = desk.get(reverse("admin:mail_message_change", args=[letter.pk])).content.decode()
        assert "shown only to them" in page
        assert "/book/own/" not in page
