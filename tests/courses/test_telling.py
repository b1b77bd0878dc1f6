"""A cohort is cancelled or gets other days, and the families hear of it in the same step: one letter each."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk.courses import services
from clubdesk.courses.models import Cohort
from clubdesk.errors import Refused
from clubdesk.mail.models import Message
from tests.courses.families import NOW, family, sound
from tests.forms import form_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def two_bookings(october, by):
    """A family that has booked for each of its two children by itself."""
    people = family(12, 13)
    return [
        services.book_party(course=october.course, people=[each], cohorts=[october], on=NOW, by=by) for each in people
    ]


def told(subject):
    return list(Message.objects.filter(subject__endswith=subject))


def sooner(cohort, by, **more):
    changed = Cohort.objects.get(pk=cohort.pk)
    changed.first_session = date(2026, 9, 27)
    return services.save_cohort(cohort=changed, on=NOW, by=by, **more)


def test_two_bookings_of_a_family_are_told_by_one_letter(two_bookings, october, by):
    services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
    (letter,) = told("cancelled")
    assert letter.body.count("We are sorry") == 1
    assert "You no longer owe the fee of $252.00." in letter.body
    for booking in two_bookings:
        assert booking.places.first().person.given_name in letter.body
    assert letter.link_path == "/account/"
    assert sound()


def test_other_days_are_told_by_one_letter_with_what_each_child_owes(two_bookings, october, by):
    saved = sooner(october, by)
    (letter,) = told("new days")
    assert saved.told == (letter,)
    assert letter.body.count("If you cannot make the new days") == 1
    assert letter.body.count("has a place in Beginner course") == 2


def test_of_one_booking_the_letter_is_as_any_other(october, ask, by):
    booking = ask(12, cohorts=[october])
    services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
    assert told("cancelled")[0].link_path == f"/book/own/{booking.pk}/"


def test_the_letter_may_begin_in_the_coordinators_own_words(october, ask, by):
    ask(12, cohorts=[october])
    services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by, letter="Sad news: {reason} at {cohort}.")
    body = told("cancelled")[0].body
    assert "Sad news: flood at Beginner course" in body
    assert "You keep your turn" in body


@pytest.mark.parametrize(
    ("letter", "said"), [("Dear {parent}", "is no field"), (" ", "Write what the families are told")]
)
def test_a_letter_that_nobody_could_fill_in_cancels_and_changes_nothing(october, ask, by, letter, said):
    ask(12, cohorts=[october])
    with pytest.raises(Refused, match=said):
        services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by, letter=letter)
    with pytest.raises(Refused, match=said):
        sooner(october, by, letter=letter)
    october.refresh_from_db()
    assert (october.cancelled_on, october.first_session) == (None, date(2026, 10, 4))


def test_who_is_not_to_be_told_has_it_in_the_history_alone(october, ask, by):
    booking = ask(12, cohorts=[october])
    sooner(october, by, tell_them=False)
    services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by, tell_them=False)
    assert told("new days") == told("cancelled") == []
    assert [event.words for event in booking.events.all()][-2:] == [
        f"{october.name} is now from 27 Sep 2026 to 25 Oct 2026.",
        f"{october.name} was cancelled: flood. The booking waits again, in its old order.",
    ]


class TestThePages:
    @pytest.fixture
    def desk(self, client, coordinator):
        client.force_login(coordinator)
        return client

    def page(self, cohort, slug):
        return reverse(f"admin:courses_cohort_{slug}", args=[cohort.pk])

    def test_of_cancelling_shows_the_letter_sends_it_and_says_whom_to_ring(self, desk, october, by):
        for name, email in (("Ida", "ida@example.org"), ("Odo", "")):
            people = family(12, name=name, email=email)
            services.book_party(course=october.course, people=people, cohorts=[october], on=NOW, by=by)
        shown = desk.get(self.page(october, "cancel"))
        assert "We are sorry: {cohort} cannot take place ({reason})." in shown.content.decode()
        form = form_of(shown, reason="flood", letter="Off for {reason}.")
        said = desk.post(self.page(october, "cancel"), form, follow=True).content.decode()
        assert "1 letter goes out. No e-mail address is known of Odo family" in said
        assert 'href="tel:087010"' in said
        assert f"Cancelled: {october}, from 4 October 2026 (flood)." in said
        assert all("Off for flood." in letter.body for letter in told("cancelled"))

    def test_of_a_cohort_says_how_many_are_affected_and_tells_them_where_its_days_change(self, desk, october, ask):
        ask(12, cohorts=[october])
        shown = desk.get(self.page(october, "change"))
        assert "If its days change: 1 family has a place or an offer" in shown.content.decode()
        form = form_of(shown, first_session="2026-09-27", letter="Now {days}.")
        asked = desk.post(self.page(october, "change"), form)
        assert "Letters: 1 letter goes out." in asked.content.decode()
        said = desk.post(self.page(october, "change"), form_of(asked), follow=True).content.decode()
        assert "The days have changed. 1 letter goes out." in said
        assert "Now 27 September 2026 to 25 October 2026." in told("new days")[0].body
        said = desk.get(self.page(october, "change")).content.decode()
        assert f"New days: {october} is now from 27 September 2026 to 25 October 2026." in said

    def test_of_a_cohort_that_only_gets_more_seats_tells_nobody(self, desk, october, ask):
        ask(12, cohorts=[october])
        form = form_of(desk.get(self.page(october, "change")), capacity="9")
        desk.post(self.page(october, "change"), form)
        assert told("new days") == []

    def test_an_unknown_field_is_said_in_its_place(self, desk, october, ask):
        ask(12, cohorts=[october])
        form = form_of(desk.get(self.page(october, "change")), first_session="2026-09-27", letter="Dear {parent}")
        answer = desk.post(self.page(october, "change"), form)
        assert "{parent} is no field" in answer.content.decode()
        assert told("new days") == []

    def test_of_a_cohort_without_families_says_nothing_of_letters(self, desk, october):
        assert "If its days change" not in desk.get(self.page(october, "change")).content.decode()
