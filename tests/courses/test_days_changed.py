"""The club changes a cohort's days: whoever cannot make the new ones has the whole fee back until a named day."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import selectors, services, words
from clubdesk.courses.models import Cohort, RefundStep
from clubdesk.fees import selectors as fees
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories
from tests.courses.families import FEBRUARY, NOW, again, sound
from tests.forms import agreed

pytestmark = pytest.mark.django_db
SOONER = date(2026, 9, 20)


@pytest.fixture
def course(october):
    """Nothing is given back within thirty days of the first session."""
    RefundStep.objects.create(course=october.course, days_before=30, percent=100)
    return october.course


def change(cohort, by, on=NOW, **values):
    clock.set_today(on)
    changed = Cohort.objects.get(pk=cohort.pk)
    for name, value in values.items():
        setattr(changed, name, value)
    return services.save_cohort(cohort=changed, on=on, by=by)


def letter(booking):
    return Message.objects.filter(household=booking.household, subject__endswith="new days").latest("pk").body


class TestTheWholeFeeBack:
    def test_until_the_named_day_nothing_is_kept(self, ask, course, october, by):
        booking = ask(12, cohorts=[october])
        change(october, by, first_session=SOONER)
        assert "If you cannot make the new days, please withdraw by 19 September 2026: you then owe nothing." in letter(
            booking
        )
        assert selectors.kept_of(booking.places.get(), date(2026, 9, 19)) == as_amount(0)
        assert "withdraw by 19 September 2026" in " ".join(words.standing_in_words(again(booking)))
        services.withdraw(booking=booking, on=date(2026, 9, 19), reason="camp", by=by)
        assert fees.balance(booking.household) == as_amount(0)
        assert sound()

    def test_after_it_the_refund_rule_holds_again(self, ask, course, october, by):
        booking = ask(12, cohorts=[october])
        change(october, by, first_session=SOONER)
        clock.set_today(date(2026, 9, 20))
        assert selectors.kept_of(booking.places.get(), clock.today()) == as_amount(126)
        assert "withdraw by" not in " ".join(words.standing_in_words(again(booking)))

    def test_it_is_so_where_only_the_days_between_change(self, ask, course, october, by):
        booking = ask(12, cohorts=[october])
        change(october, by, days_between=3)
        text = letter(booking)
        assert "Sun 4 Oct, Wed 7 Oct, Sat 10 Oct" in text
        assert "withdraw by 19 September 2026" in text
        assert selectors.kept_of(booking.places.get(), NOW) == as_amount(0)

    def test_a_change_that_leaves_every_session_where_it_was_gives_nothing_back(self, ask, course, october, by):
        booking = ask(12, cohorts=[october])
        change(october, by, capacity=9)
        assert selectors.kept_of(booking.places.get(), NOW) == as_amount(126)
        assert not Message.objects.filter(subject__endswith="new days").exists()

    def test_who_books_the_new_days_is_held_to_the_rule(self, ask, course, october, by):
        change(october, by, first_session=SOONER)
        booking = ask(12, cohorts=[october])
        assert selectors.kept_of(booking.places.get(), NOW) == as_amount(126)

    def test_who_moves_to_another_cohort_took_its_days_as_they_are(self, ask, course, october, february, by):
        booking = ask(12, cohorts=[october])
        change(october, by, first_session=SOONER)
        services.transfer(booking=booking, cohort=february, on=NOW, reason="suits better", by=by)
        late = FEBRUARY - timedelta(days=1)
        assert selectors.kept_of(booking.places.get(), NOW) == as_amount(0)
        assert selectors.kept_of(booking.places.get(), late) == as_amount(126)
        assert booking.places.get().free_to_leave_until is None

    def test_an_offer_of_another_cohort_keeps_its_days(self, ask, course, october, february, by):
        booking = ask(12, 12, cohorts=[october, february])
        stays, moves = booking.places.order_by("pk")
        services.withdraw_place(place=stays, on=NOW, reason="camp", by=by)
        services.transfer(booking=booking, places=[moves], cohort=february, on=NOW, reason="camp", by=by)
        services.change_cohorts(booking=booking, cannot_make=[october], on=NOW, by=by)
        services.cancel_cohort(cohort=february, on=NOW, reason="flood", by=by)
        factories.cohort(capacity=3, first=date(2027, 3, 7))
        services.offer_free_seats(course=course, on=NOW, by=by)
        lapses_on = again(booking).offer_lapses_on
        change(october, by, first_session=NOW + timedelta(days=2))
        assert again(booking).offer_lapses_on == lapses_on == NOW + timedelta(days=7)

    def test_who_was_only_offered_a_place_owes_nothing_and_is_told_of_no_fee(self, ask, course, october, by):
        full, waiting = ask(12, 12, 12, cohorts=[october]), ask(12, cohorts=[october])
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        assert again(waiting).state == "offered"
        change(october, by, first_session=SOONER)
        assert "withdraw by" not in letter(waiting)


class TestTooYoungThen:
    @pytest.fixture
    def child(self, book):
        """Ten years old on 1 October."""
        return factories.PersonFactory(given_name="Ada", family_name="Mirabar", birth_date=date(2016, 10, 1))

    def test_a_child_that_the_new_day_makes_too_young_is_pointed_out(self, client, coordinator, child, october, by):
        services.book_place(person=child, cohort=october, on=NOW, by=by)
        saved = change(october, by, first_session=SOONER)
        assert [place.person for place in saved.too_young] == [child]
        client.force_login(coordinator)
        page = client.get(reverse("admin:courses_cohort_change", args=[october.pk])).content.decode()
        assert "9, too young without a draw check" in page

    def test_the_form_says_so_as_it_is_saved(self, client, coordinator, child, october, by):
        services.book_place(person=child, cohort=october, on=NOW, by=by)
        client.force_login(coordinator)
        url = reverse("admin:courses_cohort_change", args=[october.pk])
        form = {"name": october.name, "first_session": SOONER, "last_session": october.last_session,
                "days_between": 7, "capacity": 3, "minimum_age": ""}  # fmt: skip
        text = agreed(client, url, form, follow=True).content.decode()
        assert "Ada Mirabar is 9 on the first session of From 2026-10-04, which takes people from 10" in text

    def test_nobody_is_where_a_draw_check_is_recorded(self, child, october, by):
        services.book_place(person=child, cohort=october, on=NOW, by=by)
        services.record_reach_check(person=child, checked_by="Odo", on=NOW, by=by)
        assert change(october, by, first_session=SOONER).too_young == ()
