"""The waitlist of a course: parties, order and offers."""

import uuid
from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock, guards
from clubdesk.courses import selectors, services
from clubdesk.courses.invariants import waitlists_hold
from clubdesk.courses.models import RANK_STEP, Booking, Cohort, ReachCheck
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees.models import FeeKind
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories, families
from tests.courses.families import FEBRUARY, NOW, OCTOBER, again, family, history, sound, states
from tests.forms import form_of
from tests.locks import asked, held

pytestmark = pytest.mark.django_db


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
        with pytest.raises(Refused, match="one family"):
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

    # Common practice, no source: a younger child may start after a draw check.
    def test_a_younger_child_needs_a_reach_check(self, course, october, by):
        (child,) = family(9)
        assert services.book_party(course=course, people=[child], by=by, on=NOW).state == "waiting"
        check = services.record_reach_check(person=child, checked_by="Coach Wirrin", on=NOW, by=by)
        assert str(check).endswith("12 Sep 2026, by Coach Wirrin")
        assert Booking.objects.get().state == "offered"

    def test_a_child_who_waits_for_a_reach_check_is_offered_a_free_seat_once_it_is_recorded(self, ask, by):
        booking = ask(9, by_the_family=True)
        assert booking.state == "waiting"
        services.record_reach_check(person=booking.places.get().person, checked_by="Coach Wirrin", on=NOW, by=by)
        assert again(booking).state == "offered"
        assert any("draw check" in words for words in history(booking))
        assert sound()

    def test_the_same_reach_check_is_recorded_once(self, book, by):
        (child,) = family(9)
        said = {"person": child, "checked_by": "Coach Wirrin", "on": NOW, "by": by, "key": uuid.uuid4()}
        assert services.record_reach_check(**said) == services.record_reach_check(**said)
        assert ReachCheck.objects.count() == 1

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


def test_who_accepts_an_offer_waits_in_the_queue_of_the_course(ask, by):
    full, waiting = ask(12, 12, 12), ask(12)
    services.withdraw(booking=full, places=full.places.all()[:1], on=NOW, reason="ill", by=by)
    with asked() as lines:
        services.accept_offer(booking=again(waiting), on=NOW, by=by)
    assert held(lines)[0] == "Course"
    assert lines.index("hold Course") < lines.index("read Place")


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
        ("sql", "sentence"),
        [
            ("UPDATE courses_booking SET rank = rank + 1", "order of a waitlist never changes silently"),
            ("UPDATE courses_booking SET number = number + 9", "booking keeps what the ledger says"),
            ("UPDATE courses_bookingevent SET words = 'nothing'", "history is never changed"),
            ("DELETE FROM courses_bookingevent", "history is never deleted"),
            ("DELETE FROM courses_place", "place is never deleted"),
            ("UPDATE courses_cohort SET capacity = 2", "More places are taken than that"),
            ("UPDATE courses_cohort SET cancelled_on = '2026-09-12'", "cancelled by its own page"),
        ],
    )
    def test_the_database_itself_keeps_the_order_and_the_history(self, ask, sql, sentence):
        ask(12, 12, 12)
        ask(12)
        with pytest.raises(IntegrityError, match=sentence), transaction.atomic(), connection.cursor() as cursor:
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

    def test_where_one_offer_lapses_the_others_stand(self, october, ask, by):
        full, early, late = ask(12, 12, 12), ask(12), ask(12, 12)
        for day, places in ((NOW, full.places.all()[:1]), (date(2026, 9, 15), None)):
            with clock.on(day):
                services.withdraw(booking=again(full), places=places, on=day, reason="ill", by=by)
        assert [again(each).offer_lapses_on for each in (early, late)] == [date(2026, 9, 19), date(2026, 9, 22)]
        nightly(on=date(2026, 9, 20), by=by)
        assert [again(each).state for each in (early, late)] == ["lapsed", "offered"]
        assert (states(late), selectors.seats_left(october)) == (["offered", "offered"], 1)
        assert sound()

    def test_its_days_are_the_books_though_a_servers_clock_is_behind(self, october, ask, by):
        full, first, second = ask(12, 12, 12), ask(12), ask(12, 12)
        ahead = date(2026, 9, 14)
        with clock.on(ahead):
            services.withdraw(booking=full, places=full.places.all()[:1], on=ahead, reason="ill", by=by)
        services.withdraw(booking=again(full), on=NOW, reason="ill", by=by)
        assert [again(each).offer_lapses_on for each in (first, second)] == [date(2026, 9, 21)] * 2
        services.accept_by_family(booking=again(first), on=NOW)
        services.withdraw_by_family(booking=again(second), on=NOW)
        assert [again(each).state for each in (first, second)] == ["held", "withdrawn"]
        assert first.places.get().charge.charged_on == ahead
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


def test_the_order_of_a_course_holds_beyond_its_two_thousandth_booking(course, by):
    household = factories.HouseholdFactory()
    rows = [
        Booking(
            course=course, household=household, booked_on=NOW, number=number, rank=number * RANK_STEP, recorded_by=by
        )
        for number in range(1, 2101)
    ]
    Booking.objects.bulk_create(rows, batch_size=300)
    assert list(waitlists_hold()) == []
    moved = Booking.objects.get(number=2100)
    guards.remove(connection)
    Booking.objects.filter(pk=moved.pk).update(rank=moved.rank + 1)
    assert list(waitlists_hold()) == [f"Booking {moved.pk} stands elsewhere in the waitlist than its history says."]


def test_the_night_looks_only_at_courses_with_somebody_who_waits_and_a_seat_that_is_free(book, by):
    cohort = factories.cohort(capacity=1)
    day = cohort.first_session.replace(day=1)
    seats = selectors.courses_with_a_free_seat
    assert list(seats(day)) == []  # a seat, and nobody waits
    services.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=day)
    services.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=day)
    assert list(seats(day)) == []  # somebody waits, and no seat is free
    type(cohort).objects.filter(pk=cohort.pk).update(capacity=2)
    assert list(seats(day)) == [cohort.course]
    assert list(seats(cohort.first_session.replace(day=28))) == []  # it has begun


class TestAGroupBookedApart:
    @pytest.fixture
    def full(self, october, ask):
        return [ask(12) for _ in range(3)]

    def test_each_is_offered_a_place_alone_in_the_turn_of_the_group(self, full, ask, course, by):
        before, group, after = ask(12), ask(12, 13, 14), ask(12)
        services.book_apart(booking=group, on=NOW, by=by)
        queue = list(selectors.waitlist(course))
        assert [each.pk for each in queue[:2]] == [before.pk, group.pk]
        assert [each.household for each in queue] == [before.household, *[group.household] * 3, after.household]
        assert [each.seats for each in queue] == [1] * 5
        assert {place.person for each in queue[1:4] for place in each.places.filter(state="waiting")} == set(
            group.household.people.all()
        )
        services.book_apart(booking=group, on=NOW, by=by)
        assert Booking.objects.count() == 8
        for seated in full[:2]:
            services.withdraw(booking=seated, on=NOW, reason="camp", by=by)
        assert [again(each).state for each in queue] == ["offered", "offered", "waiting", "waiting", "waiting"]
        assert Message.objects.filter(household=group.household, subject__endswith="booked apart").count() == 3
        assert sound()

    def test_whoever_pays_for_the_group_pays_for_each(self, full, course, by):
        home, payer = factories.HouseholdFactory(), factories.HouseholdFactory()
        children = factories.PersonFactory.create_batch(2, household=home)
        group = services.book_party(course=course, people=children, payer=payer, on=NOW, by=by)
        services.book_apart(booking=group, on=NOW, by=by)
        waiting = Booking.objects.filter(places__person__in=children, state="waiting").order_by("rank").distinct()
        assert [each.household for each in waiting] == [payer, payer]
        assert Message.objects.filter(household=payer, subject__endswith="booked apart").count() == 2
        assert sound()

    def test_those_who_hold_or_are_offered_places_stay_together(self, full, by):
        with pytest.raises(Refused, match="Only a group that waits"):
            services.book_apart(booking=full[0], on=NOW, by=by)

    def test_what_they_cannot_make_goes_along_and_a_free_seat_is_offered_at_once(self, october, february, ask, by):
        ask(12, 12, cohorts=[october])
        group = ask(12, 13, cohorts=[october])
        assert list(group.cannot_make.all()) == [february]
        services.book_apart(booking=group, on=NOW, by=by)
        own = Booking.objects.filter(household=group.household).order_by("rank")
        assert [each.state for each in own] == ["offered", "waiting"]
        assert [list(each.cannot_make.all()) for each in own] == [[february]] * 2

    def test_a_group_reads_on_its_own_page_that_it_would_be_quicker_and_may(self, client, course, ask, october, by):
        large = factories.cohort(capacity=12, first=FEBRUARY)
        for _ in range(12):
            ask(12, cohorts=[large])
        group = ask(12, 13, cohorts=[large])
        url = families.booking_of(client, group)
        page = client.get(url).content.decode()
        assert "Places for 2 seldom come free at once" in page
        assert client.post(url, {"act": "apart"}).status_code == 302
        assert Booking.objects.filter(household=group.household, state="waiting").count() == 2
        assert "Places for" not in client.get(url).content.decode()
        assert sound()

    def test_who_waits_alone_reads_nothing_of_it(self, client, full, ask):
        assert "seldom come free" not in client.get(families.booking_of(client, ask(12))).content.decode()

    def test_the_coordinator_books_them_apart(self, client, coordinator, full, ask):
        group = ask(12, 13)
        client.force_login(coordinator)
        url = reverse("admin:courses_booking_apart", args=[group.pk])
        answer = client.post(url, form_of(client.get(url)), follow=True)
        assert "number 1 in the queue" in answer.content.decode()
        assert again(group).seats == 1
