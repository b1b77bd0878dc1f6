"""A child below the minimum age waits, is looked at, and is offered a place only after the draw check.

Common practice, no source: below nine or so a club looks whether a child can reach, draw and hold a bow.
"""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import checks, selectors, services
from clubdesk.courses.models import Booking, Cohort, Place, PlaceState, ReachCheck
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.mail.models import Message
from clubdesk.rangeday.models import RangeDay
from tests import families
from tests.courses.families import NOW, OCTOBER, again, family, history, sound, states

pytestmark = pytest.mark.django_db
SATURDAY = date(2026, 9, 19)


@pytest.fixture
def young(ask, october):
    """A child of nine that waits for the course, which takes people from ten."""
    return ask(9)


def child_of(booking):
    return booking.places.get().person


def watch(booking, by, **more):
    return services.record_reach_check(person=child_of(booking), checked_by="Coach Wirrin", on=NOW, by=by, **more)


class TestWhoWaits:
    def test_a_child_below_the_age_waits_though_there_is_room_whoever_books(self, ask, october):
        assert states(ask(9)) == states(ask(9, by_the_family=True)) == ["waiting"]
        assert selectors.seats_left(october) == 3
        assert sound()

    def test_a_group_with_a_younger_child_waits_whole(self, ask, october):
        booking = ask(9, 12)
        assert states(booking) == ["waiting", "waiting"]
        assert [person.age_on(NOW) for person in checks.watched_of(booking, NOW)] == [9]

    def test_the_offering_passes_over_it_and_goes_on_to_the_next_which_keeps_its_turn(self, young, ask, october, by):
        full, after = ask(12, 12), ask(12, 12)
        services.withdraw(booking=full, on=NOW, reason="camp", by=by)
        assert (again(after).state, again(young).state) == ("offered", "waiting")
        assert selectors.position(again(young)) == 1
        assert history(young)[-1].endswith("which takes people from 10, and no draw check is recorded.")
        assert sound()

    def test_once_the_check_is_recorded_it_is_the_next_by_its_old_turn(self, ask, october, by):
        young = ask(9)
        full, after = ask(12, 12, 12), ask(12)
        watch(young, by)
        assert again(young).state == "waiting"  # nothing is free
        services.withdraw(booking=full, places=full.places.all()[:1], on=NOW, reason="camp", by=by)
        assert (again(young).state, again(after).state) == ("offered", "waiting")
        assert sound()

    @pytest.mark.parametrize(
        ("age", "first", "is_needed"),
        [(9, OCTOBER, True), (10, OCTOBER, False), (9, date(2027, 3, 9), False), (9, date(2027, 3, 8), True)],
    )
    def test_it_is_needed_where_no_date_to_come_would_do(self, ask, october, age, first, is_needed):
        Cohort.objects.create(
            course=october.course, name="Later", capacity=1, first_session=first, last_session=first + timedelta(21)
        )
        october.delete()
        full = ask(12) if age >= 10 or not is_needed else None
        booking = ask(age)
        del full
        assert checks.needed(NOW).filter(booking=booking).exists() == is_needed

    def test_a_date_that_the_family_cannot_make_does_not_count(self, ask, october, february, course):
        late = Cohort.objects.create(
            course=course, name="May", capacity=3, first_session=date(2027, 5, 2), last_session=date(2027, 5, 23)
        )
        assert ask(9, cohorts=[october, late]).state == "held"
        assert checks.watched_of(ask(9, cohorts=[october]), NOW) != []

    def test_a_course_without_dates_asks_by_the_age_of_today(self, ask, october):
        october.delete()
        assert [bool(checks.watched_of(ask(age), NOW)) for age in (9, 10)] == [True, False]

    def test_the_question_agrees_with_the_rule_for_each_birthday(self, october, ask, by):
        for day in range(-2, 3):
            booking = ask(9)
            person = child_of(booking)
            person.birth_date = OCTOBER.replace(year=OCTOBER.year - 10) + timedelta(days=day)
            person.save()
            asked = checks.needed(NOW).filter(booking=booking).exists()
            assert asked == (not checks.is_old_enough(person, october)) == (day > 0)


class TestTheDatabase:
    """Nobody is given a seat behind the verbs' back either."""

    def seat(self, place, cohort, state):
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                f"UPDATE courses_place SET state = '{state}', cohort_id = %s WHERE id = %s", [cohort.pk, place.pk]
            )

    def test_no_place_is_offered_before_the_check(self, young, october, by):
        place = young.places.get()
        with pytest.raises(IntegrityError, match="only after a draw check is recorded"):
            self.seat(place, october, "offered")
        ReachCheck.objects.create(person=place.person, checked_on=NOW, checked_by="Jo", recorded_by=by)
        self.seat(place, october, "offered")
        assert Place.objects.get(pk=place.pk).state == PlaceState.OFFERED

    def test_the_cohort_s_own_age_counts_before_the_course_s(self, young, october):
        Cohort.objects.filter(pk=october.pk).update(minimum_age=9)
        self.seat(young.places.get(), october, "offered")
        assert states(young) == ["offered"]

    def test_whoever_had_the_place_before_the_club_moved_the_days_keeps_the_offer(self, ask, october, by):
        full, waiting = ask(12, 12, 12), ask(10)
        person = child_of(waiting)
        person.birth_date = date(2016, 9, 30)
        person.save()
        services.withdraw(booking=full, on=NOW, reason="camp", by=by)
        assert again(waiting).state == "offered"
        Cohort.objects.filter(pk=october.pk).update(first_session=date(2026, 9, 20))
        services.accept_offer(booking=again(waiting), on=NOW, by=by)
        assert again(waiting).state == "held"

    def test_the_code_refuses_in_a_sentence_before_the_database_does(self, young, october, by):
        with pytest.raises(Refused, match=r"is 9 on the first session of .* Record a draw check first"):
            services.waitlist.offer(again(young), october, 3, NOW, by)


class TestWhatIsSaid:
    def test_the_letter_and_the_page_say_when_to_come(self, young, client):
        RangeDay.objects.create(date=SATURDAY)
        booking = services.book_party(course=young.course, people=family(9, name="Odo"), by=young.recorded_by, on=NOW)
        letter = Message.objects.latest("pk").body
        said = "We first look whether Odo1 can draw and hold a bow: please come to the range on "
        said += "Saturday, 19 September 2026."
        assert said in letter
        page = client.get(families.booking_of(client, booking)).content.decode()
        assert said in page

    def test_without_a_range_day_it_asks_to_ask(self, young):
        assert "please ask us when to come to the range." in Message.objects.latest("pk").body

    def test_once_it_is_recorded_nothing_is_asked_any_more(self, young, by, october, ask, client):
        watch(young, by)
        assert "We first look" not in Message.objects.latest("pk").body
        assert checks.to_watch(NOW).count() == 0


class TestTheCoordinator:
    def test_home_says_whom_to_watch_and_one_tap_records_it(self, client, coordinator, young):
        client.force_login(coordinator)
        assert "Child to watch at the range: draw check" in client.get(reverse("admin:index")).content.decode()
        page = client.get(reverse("admin:draw_checks")).content.decode()
        person = child_of(young)
        assert f"{person.given_name} can draw: record it" in page
        url = reverse("admin:roll_person_watched", args=[person.pk])
        answer = client.post(url, {"key": "6f1ed002-ab42-4b2a-8ee5-1b4ab4b4b1aa"}, follow=True)
        assert "Recorded: Draw check of" in answer.content.decode()
        assert "Nobody is to be watched." in answer.content.decode()
        check = ReachCheck.objects.get()
        assert (check.checked_on, check.checked_by) == (NOW, coordinator.get_full_name() or coordinator.username)
        assert again(young).state == "offered"

    def test_who_may_not_record_it_sees_no_button(self, client, auditor, young):
        client.force_login(auditor)
        page = client.get(reverse("admin:draw_checks")).content.decode()
        assert "can draw: record it" not in page

    def test_the_lists_mark_who_needs_one(self, client, coordinator, young, october):
        client.force_login(coordinator)
        booking = client.get(reverse("admin:courses_booking_change", args=[young.pk])).content.decode()
        assert "Waiting, draw check to do" in booking
        cohort = client.get(reverse("admin:courses_cohort_change", args=[october.pk])).content.decode()
        assert "first a draw check; else" in cohort

    def test_the_range_sheet_has_a_mark(self, young):
        from clubdesk.rangeday.selectors import TO_WATCH, sheet

        marks = {line.person: line.marks for line in sheet(RangeDay.objects.create(date=SATURDAY), with_money=False)}
        assert TO_WATCH in marks[child_of(young).pk]

    def test_many_who_wait_cost_no_more_questions(self, client, coordinator, ask, django_assert_max_num_queries):
        client.force_login(coordinator)
        for _ in range(12):
            ask(9)
        with django_assert_max_num_queries(22):
            client.get(reverse("admin:draw_checks"))


def test_the_night_offers_nothing_before_the_check_and_says_no_fault(young, by, october):
    with clock.on(NOW + timedelta(days=1)):
        nightly(on=NOW + timedelta(days=1), by=by)
    assert Booking.objects.get(pk=young.pk).state == "waiting"
    assert sound()


def test_it_stands_so_for_a_cohort_of_february(ask, february, october, by):
    young = ask(9, cohorts=[october, february])
    assert again(young).state == "waiting"
