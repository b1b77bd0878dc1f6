"""What becomes of the money, the vouchers and the seats where somebody leaves, moves, or a cohort is cancelled."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.models import Booking, Cohort, Place, RefundStep
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import accounts
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import FeeKind, FeePrice, Method, Voucher
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories, families
from tests.courses.families import again, family, history, sound, states

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
OCTOBER, FEBRUARY = date(2026, 10, 4), date(2027, 2, 7)


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
def scheme(book):
    return factories.scheme()


@pytest.fixture
def ask(course, by):
    made = []

    def booked(*ages, cohorts=None, on=NOW, **more):
        people = family(*(ages or (12,)), name=f"Family{len(made)}", email=f"family{len(made)}@example.org")
        made.append(people)
        return services.book_party(course=course, people=people, cohorts=cohorts, by=by, on=on, **more)

    return booked


def pay(household, amount, by, on=NOW):
    return charging.record_receipt(household=household, amount=as_amount(amount), method=Method.CARD, on=on, by=by)


def last_letter(booking):
    return Message.objects.filter(household=booking.household).latest("pk").body


def owed(booking):
    return fees.open_amount(booking.places.filter(state="held").get().charge)


class TestTransferOfAFeeThatIsIncome:
    @pytest.fixture
    def begun(self, ask, february, october, by):
        """Paid, and income since the course has begun."""
        booking = ask(12, cohorts=[october])
        pay(booking.household, 126, by)
        clock.set_today(OCTOBER)
        nightly(on=OCTOBER, by=by)
        return booking

    def test_what_has_paid_it_pays_the_new_fee_whatever_else_is_owed(self, begun, february, by):
        other = factories.price(FeeKind.OTHER, "40.00", Role.DONATIONS)
        charging.charge(household=begun.household, price=other, on=NOW, starts_on=NOW, by=by)
        moved = services.transfer(booking=begun, cohort=february, on=OCTOBER, reason="ill", by=by)
        assert owed(moved) == as_amount(0)
        assert fees.balance(begun.household) == as_amount("40.00")
        assert balance(Role.COURSES, OCTOBER) == 0
        assert sound()

    def test_the_days_to_pay_begin_anew(self, ask, course, february, october, by):
        course.pay_days = 14
        course.save()
        booking = ask(12, cohorts=[october])
        services.remind_by_phone(booking=booking, on=date(2026, 9, 26), by=by)
        nightly(on=OCTOBER, by=by)
        moved = services.transfer(booking=booking, cohort=february, on=OCTOBER, reason="ill", by=by)
        assert (moved.pay_by, moved.reminded_on) == (date(2026, 10, 18), None)
        nightly(on=OCTOBER + timedelta(days=1), by=by)
        assert again(booking).state == "held"

    def test_an_unlodged_voucher_and_goodwill_go_with_it(self, ask, february, october, scheme, by):
        booking = ask(12, cohorts=[october])
        charge = booking.places.get().charge
        charging.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        charging.credit_charge(charge=charge, amount=as_amount(6), on=NOW, reason="goodwill", by=by)
        nightly(on=OCTOBER, by=by)
        moved = services.transfer(booking=booking, cohort=february, on=OCTOBER, reason="ill", by=by)
        assert owed(moved) == as_amount("20.00")
        assert list(Voucher.objects.order_by("pk").values_list("state", flat=True)) == ["released", "accepted"]
        assert sound()

    def test_a_lodged_voucher_holds_it_back(self, ask, february, october, scheme, by):
        booking = ask(12, cohorts=[october])
        charging.accept_voucher(scheme=scheme, charge=booking.places.get().charge, code="SV1", on=NOW, by=by)
        charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        nightly(on=OCTOBER, by=by)
        with pytest.raises(Refused, match="Ask the treasurer"):
            services.transfer(booking=booking, cohort=february, on=OCTOBER, reason="ill", by=by)
        assert sound()

    def test_a_written_off_part_is_not_asked_for_again(self, ask, february, october, by):
        booking = ask(12, cohorts=[october])
        nightly(on=OCTOBER, by=by)
        charge = booking.places.get().charge
        charging.write_off(charge=charge, amount=as_amount(50), on=OCTOBER, reason="hardship", by=by)
        moved = services.transfer(booking=booking, cohort=february, on=OCTOBER, reason="ill", by=by)
        assert owed(moved) == as_amount("76.00")
        assert sound()


class TestTransferOfAFeeThatWaits:
    def test_the_statement_names_the_cohort_that_the_family_is_in(self, ask, february, october, scheme, by):
        booking = ask(12, cohorts=[october])
        charging.accept_voucher(scheme=scheme, charge=booking.places.get().charge, code="SV1", on=NOW, by=by)
        services.transfer(booking=booking, cohort=february, on=NOW, reason="camp", by=by)
        lines = [line.text for line in accounts.statement(booking.household, NOW).lines]
        assert lines == [f"{february}, Family01 Family0", f"Paid by voucher: {february}, Family01 Family0"]
        assert sound()


class TestWhoStays:
    def test_a_place_of_a_cohort_that_is_over_is_not_transferred(self, ask, february, october, by):
        booking = ask(12, cohorts=[october])
        clock.set_today(date(2026, 11, 2))
        with pytest.raises(Refused, match="is over"):
            services.transfer(booking=booking, cohort=february, on=date(2026, 11, 2), reason="again", by=by)

    def test_who_has_a_certificate_neither_withdraws_nor_moves(self, ask, february, october, by):
        booking = ask(12, cohorts=[october])
        for session in october.sessions[:3]:
            clock.set_today(session)
            services.record_attendance(cohort=october, session=session, present=booking.places.all(), by=by)
        services.issue_certificates(cohort=october, by=by)
        on = clock.today()
        with pytest.raises(Refused, match="has completed"):
            services.withdraw(booking=booking, on=on, reason="moved", by=by)
        with pytest.raises(Refused, match="has completed"):
            services.transfer(booking=booking, cohort=february, on=on, reason="moved", by=by)
        with pytest.raises(Refused, match="can no longer be cancelled"):
            services.cancel_cohort(cohort=october, on=on, reason="flood", by=by)

    def test_a_withdrawn_booking_is_given_no_more_time(self, ask, course, by):
        course.pay_days = 14
        course.save()
        booking = ask(12)
        services.withdraw(booking=booking, on=NOW, reason="ill", by=by)
        with pytest.raises(Refused, match="no places that could lapse"):
            services.give_more_time(booking=booking, pay_by=OCTOBER, on=NOW, reason="late", by=by)


class TestBackdating:
    def test_an_offer_never_begins_before_today(self, ask, by):
        full, waiting = ask(12, 12, 12), ask(12)
        clock.set_today(date(2026, 9, 25))
        services.withdraw(booking=full, on=NOW, reason="told us two weeks ago", by=by)
        assert again(waiting).offer_lapses_on == date(2026, 10, 2)
        nightly(on=date(2026, 9, 25), by=by)
        assert again(waiting).state == "offered"
        with pytest.raises(Refused, match="cannot be accepted before"):
            services.accept_offer(booking=waiting, on=NOW, by=by)
        services.accept_offer(booking=waiting, on=date(2026, 9, 25), by=by)
        assert sound()


class TestVouchersOfEndedPlaces:
    """A voucher that was not lodged is not claimed for a fee that nobody owes; what was lodged is told as it is."""

    @pytest.fixture
    def course(self, october):
        for days, percent in ((14, 100), (7, 50)):
            RefundStep.objects.create(course=october.course, days_before=days, percent=percent)
        return october.course

    @pytest.fixture
    def vouched(self, ask, october, scheme, by):
        """A fee of 126.00: 100.00 by voucher, 26.00 paid."""
        booking = ask(12, cohorts=[october])
        charging.accept_voucher(scheme=scheme, charge=booking.places.get().charge, code="SV1", on=NOW, by=by)
        pay(booking.household, 26, by)
        return booking

    def vouchers(self):
        rows = Voucher.objects.order_by("pk").values_list("state", "amount")
        return [(state, f"{amount.amount:.2f}") for state, amount in rows]

    def test_withdrawn_in_time_the_voucher_is_free_again(self, vouched, scheme, by):
        services.withdraw(booking=vouched, on=NOW, reason="ill", by=by)
        assert self.vouchers() == [("released", "100.00")]
        assert fees.unused_credit(vouched.household) == as_amount("26.00")
        assert history(vouched)[-1] == "Withdrawn: Family01, ill; $126.00 of the fee credited."
        assert "You no longer owe the fee of $126.00. $26.00 that you have paid stands to your credit" in last_letter(
            vouched
        )
        assert "Your sport voucher is not claimed; you can use it for another fee this year." in last_letter(vouched)
        with pytest.raises(Refused, match="No voucher"):
            charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        assert sound()

    def test_withdrawn_late_it_pays_at_most_what_the_club_keeps(self, vouched, by):
        on = OCTOBER - timedelta(days=7)
        clock.set_today(on)
        services.withdraw(booking=vouched, on=on, reason="ill", by=by)
        assert self.vouchers() == [("released", "100.00"), ("accepted", "63.00")]
        assert fees.unused_credit(vouched.household) == as_amount("26.00")
        letter = last_letter(vouched)
        assert "By the course's refund rule the club keeps $63.00 of the fee of $126.00." in letter
        assert "You no longer owe the other $63.00. $26.00 that you have paid stands to your credit" in letter
        assert "Your sport voucher pays only $63.00 of it." in letter
        assert sound()

    def test_what_was_lodged_is_not_promised_back(self, vouched, scheme, by):
        charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        place = vouched.places.get()
        before = selectors.if_withdrawn(place, NOW)
        assert (before.credited, before.claimed, before.to_credit) == tuple(map(as_amount, (26, 100, 26)))
        services.withdraw(booking=vouched, on=NOW, reason="ill", by=by)
        letter = last_letter(vouched)
        assert "The club keeps $100.00 of the fee of $126.00 ($100.00 of it from your sport voucher, which is" in letter
        assert "You no longer owe the other $26.00." in letter
        assert sound()

    def test_a_cancelled_cohort_frees_it_and_the_family_uses_it_for_the_next(self, vouched, february, scheme, by):
        services.cancel_cohort(cohort=vouched.places.get().cohort, on=NOW, reason="flood", by=by)
        assert self.vouchers() == [("released", "100.00")]
        letter = Message.objects.get(household=vouched.household, subject__endswith="cancelled")
        assert "Your sport voucher is not claimed" in letter.body
        accepted = services.accept_offer(booking=vouched, on=NOW, by=by)
        charge = accepted.places.get(state="held").charge
        charging.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        assert fees.balance(vouched.household) == as_amount(0)
        assert sound()

    def test_a_party_with_only_an_offer_is_told_of_no_fee(self, ask, october, february, by):
        full, waiting = ask(12, 12, 12, cohorts=[october]), ask(12, cohorts=[october])
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        assert again(waiting).state == "offered"
        services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
        letter = Message.objects.get(household=waiting.household, subject__endswith="cancelled")
        assert "owe" not in letter.body

    def test_goodwill_is_not_given_back_twice(self, ask, by):
        booking = ask(12)
        pay(booking.household, 126, by)
        charging.credit_charge(
            charge=booking.places.get().charge, amount=as_amount(20), on=NOW, reason="goodwill", by=by
        )
        services.withdraw(booking=booking, on=NOW, reason="ill", by=by)
        assert history(booking)[-1].endswith("; $106.00 of the fee credited.")
        assert sound()

    def test_a_voucher_on_the_wrong_fee_is_released_by_hand_until_it_is_lodged(self, vouched, scheme, by):
        voucher = Voucher.objects.get()
        charging.release_voucher(voucher=voucher, on=NOW, reason="wrong child", by=by)
        charging.release_voucher(voucher=voucher, on=NOW, reason="wrong child", by=by)
        assert fees.balance(vouched.household) == as_amount("100.00")
        again_set = charging.accept_voucher(
            scheme=scheme, charge=vouched.places.get().charge, code="SV1", on=NOW, by=by
        )
        charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        with pytest.raises(Refused, match="only the department's answer"):
            charging.release_voucher(voucher=again_set, on=NOW, reason="no", by=by)
        with pytest.raises(IntegrityError, match="follow one another"), transaction.atomic():
            Voucher.objects.filter(pk=again_set.pk).update(state="released")
        assert sound()


class TestUnpaidPlaces:
    @pytest.fixture
    def course(self, october):
        october.course.pay_days, october.course.reminder_days = 14, 5
        october.course.save()
        return october.course

    def sent(self, at="2026-09-21T00:00Z"):
        Message.objects.filter(state="waiting").update(state="sent", sent_at=at)

    def test_a_siblings_place_in_a_cohort_that_has_begun_stays(self, ask, october, february, by):
        booking = ask(12, 12, cohorts=[october])
        one = booking.places.first()
        services.transfer(booking=booking, places=[one], cohort=february, on=NOW, reason="camp", by=by)
        nightly(on=date(2026, 10, 5), by=by)
        self.sent("2026-10-05T00:00Z")
        nightly(on=date(2026, 10, 20), by=by)
        assert sorted(states(booking)) == ["held", "lapsed"]
        assert booking.places.get(state="held").cohort == october
        assert sound()

    def test_the_days_count_from_when_the_letter_went_out(self, ask, by):
        booking = ask(12)
        nightly(on=date(2026, 9, 21), by=by)
        self.sent("2026-09-25T12:00Z")
        nightly(on=date(2026, 9, 30), by=by)
        assert again(booking).state == "held"
        nightly(on=date(2026, 10, 1), by=by)
        assert again(booking).state == "lapsed"

    def test_a_fee_that_opens_again_is_reminded_of_again(self, ask, scheme, by):
        booking = ask(12)
        nightly(on=date(2026, 9, 21), by=by)
        self.sent()
        pay(booking.household, 26, by)
        voucher = charging.accept_voucher(
            scheme=scheme, charge=booking.places.get().charge, code="SV1", on=date(2026, 9, 22), by=by
        )
        nightly(on=date(2026, 9, 22), by=by)
        charging.refuse_voucher(voucher=voucher, on=date(2026, 9, 28), reason="used elsewhere", by=by)
        nightly(on=date(2026, 9, 28), by=by)
        assert again(booking).state == "held"
        assert again(booking).reminded_on == date(2026, 9, 28)
        assert again(booking).pay_by == date(2026, 10, 3)

    def test_the_same_reminder_by_phone_is_written_once(self, ask, by):
        booking = ask(12)
        for _ in range(2):
            services.remind_by_phone(booking=booking, on=date(2026, 9, 25), by=by)
        assert len([words for words in history(booking) if "by phone" in words]) == 1


class TestCohorts:
    def test_an_old_form_does_not_undo_a_cancellation(self, october, by):
        old = Cohort.objects.get(pk=october.pk)
        services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
        old.capacity = 9
        with pytest.raises(Refused, match="was cancelled"):
            services.save_cohort(cohort=old, on=NOW, by=by)
        with pytest.raises(IntegrityError, match="stays cancelled"), transaction.atomic():
            Cohort.objects.update(cancelled_on=None)

    def test_a_cohort_stays_with_its_course(self, october, course, by):
        other = type(course).objects.create(name="Second course", fee_item=course.fee_item)
        october.course = other
        with pytest.raises(Refused, match="stays a cohort of Beginner course"):
            services.save_cohort(cohort=october, on=NOW, by=by)
        with pytest.raises(IntegrityError, match="stays with its course"), transaction.atomic():
            Cohort.objects.update(course=other)

    def test_a_fee_charged_on_the_first_day_holds_the_day(self, ask, october, by):
        clock.set_today(OCTOBER)
        ask(12, cohorts=[october], on=OCTOBER)
        october.first_session = date(2026, 10, 11)
        with pytest.raises(Refused, match="income already"):
            services.save_cohort(cohort=october, on=OCTOBER, by=by)

    def test_an_offer_ends_with_a_start_that_moves_closer(self, ask, october, by):
        full, waiting = ask(12, 12, 12), ask(12)
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        october.first_session = date(2026, 9, 16)
        services.save_cohort(cohort=october, on=NOW, by=by)
        assert again(waiting).offer_lapses_on == date(2026, 9, 16)

    @pytest.mark.parametrize("table", ["courses_course", "courses_cohort"])
    def test_a_minimum_age_is_within_a_life(self, october, table):
        with (
            pytest.raises(IntegrityError, match="age_within_a_life"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(f"UPDATE {table} SET minimum_age = 3000")


class TestAMissingPrice:
    @pytest.fixture
    def unpriced(self, october, february):
        FeePrice.objects.update(valid_until=date(2026, 12, 31))
        return february

    def test_it_holds_only_its_own_cohort_back_and_the_night_says_so(self, ask, october, unpriced, by):
        full, waiting = ask(12, 12, 12, cohorts=[october]), ask(12, by_the_family=True)
        assert again(waiting).state == "waiting"
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        assert again(waiting).state == "offered"
        night = nightly(on=NOW, by=by)
        assert any("no price on 7 Feb 2027" in sentence for sentence in night.not_yet)
        assert sound()

    def test_the_coordinator_is_told_what_to_do(self, ask, unpriced):
        with pytest.raises(Refused, match="has no price .* add one first"):
            ask(12, cohorts=[unpriced])

    def test_a_familys_own_page_still_opens(self, client, ask, october, by):
        full, waiting = ask(12, 12, 12), ask(12)
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        FeePrice.objects.update(valid_until=NOW)
        assert "The fee is $126.00." in client.get(families.booking_of(client, again(waiting))).content.decode()
        Place.objects.update(offered_price=None)  # offered before places kept their price
        page = client.get(families.booking_of(client, again(waiting))).content.decode()
        assert "is offered a place" in page
        assert "The fee is" not in page


class TestTheOrder:
    def test_a_second_press_of_the_same_move_writes_nothing(self, ask, by):
        ask(12, 12, 12)
        first, _second, third = (ask(12) for _ in range(3))
        for _ in range(2):
            services.move_in_queue(booking=third, before=first, on=NOW, reason="promised", by=by)
        for _ in range(2):
            services.move_in_queue(booking=first, before=None, on=NOW, reason="asked to", by=by)
        moves = [event.words for event in (*third.events.all(), *first.events.all()) if event.kind == "moved"]
        assert len(moves) == 2

    def test_the_order_can_be_changed_as_often_as_the_club_likes(self, ask, by):
        ask(12, 12, 12)
        parties = [ask(12) for _ in range(4)]
        for turn in range(60):
            booking, before = parties[turn % 3], parties[(turn + 1) % 3]
            services.move_in_queue(booking=again(booking), before=again(before), on=NOW, reason="turn", by=by)
        assert [selectors.position(again(party)) for party in parties][3] == 4
        assert "spread out" in " ".join(history(parties[3]))
        assert sound()

    def test_passing_many_asks_the_book_no_more_often(self, ask, october, by):
        full = ask(12, 12, 12)
        asked = []
        for passed in (2, 12):
            for _ in range(passed):
                ask(12, 12, 12)
            ask(12, cohorts=[october])
            with CaptureQueriesContext(connection) as queries:
                held = full.places.filter(state="held")[:1]
                services.withdraw(booking=full, places=held, on=NOW, reason="ill", by=by)
            asked.append(len(queries))
            full = again(full)
        assert asked[1] - asked[0] <= 2
        assert sound()


class TestWhoIsWrittenTo:
    def test_another_guardian_where_the_one_who_booked_has_no_e_mail(self, ask, by):
        booking = ask(12)
        booking.household.guardians.create(name="Ulf Mirabar", email="ulf@example.org")
        booking.household.guardians.filter(pk=booking.guardian_id).update(email="")
        services.withdraw(booking=booking, on=NOW, reason="ill", by=by)
        assert Message.objects.latest("pk").to == "ulf@example.org"


class TestNumbersThatNoRowHas:
    @pytest.mark.parametrize("number", ["99999999999999999999", "9223372036854775808"])
    def test_sent_by_hand_they_get_a_plain_answer(self, client, coordinator, ask, number):
        client.force_login(coordinator)
        booking = ask(12, 12, 12)
        url = reverse("admin:courses_booking_withdraw", args=[booking.pk])
        form = {"key": "7d444840-9dc0-11d1-b245-5ffdce74fad2", "places": [number], "on": "2026-09-12", "reason": "x"}
        assert client.post(url, form).status_code == 422
        assert client.post(reverse("admin:courses_booking_add"), form | {"cohorts": [number]}).status_code == 422
        waiting = ask(12)
        move = reverse("admin:courses_booking_move", args=[waiting.pk])
        assert client.post(move, form | {"before": number}).status_code == 422
        assert Booking.objects.filter(state="held").count() == 1
