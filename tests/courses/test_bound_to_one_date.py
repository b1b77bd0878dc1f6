"""A family that had ticked one date alone is asked again once that has gone, and can widen its choice."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.mail.models import Message
from tests import factories, families
from tests.courses.families import NOW, OCTOBER, again, history, sound

pytestmark = pytest.mark.django_db


@pytest.fixture
def bound(ask, october, february, by):
    """It had ticked October alone, which is cancelled; February is empty."""
    booking = ask(12, cohorts=[october])
    services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
    return again(booking)


def test_the_letter_asks_whether_it_can_make_another_date_now(bound, february):
    assert bound.state == "waiting"
    letter = Message.objects.get(household=bound.household, subject__endswith="cancelled").body
    assert f"When you booked you could not make {february.name} (from 7 February 2027)." in letter
    assert "If you can now, tick it on your own page: until then we cannot offer you a place there." in letter


def test_a_family_that_can_make_another_date_is_not_asked(ask, october, february, by):
    booking = ask(12)
    services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
    assert again(booking).state == "offered"
    letter = Message.objects.get(household=booking.household, subject__endswith="cancelled").body
    assert "could not make" not in letter


def test_the_family_widens_its_choice_on_its_own_page_and_is_offered_the_place(client, bound, february):
    path = families.booking_of(client, bound)
    page = client.get(path).content.decode()
    assert "Which could you make?" in page
    assert february.name in page
    assert "Tick at least one" in client.post(path, {"act": "dates"}).content.decode()
    client.post(path, {"act": "dates", "cohorts": [february.pk]})
    assert again(bound).state == "offered"
    assert "Can make every cohort." in history(bound)
    assert "Which could you make?" not in client.get(path).content.decode()
    assert sound()


def test_a_date_of_another_course_is_not_to_be_ticked(client, bound):
    other = factories.cohort(first=date(2026, 12, 6))
    type(other).objects.filter(pk=other.pk).update(cancelled_on=NOW, cancel_reason="flood")
    answer = client.post(families.booking_of(client, bound), {"act": "dates", "cohorts": [other.pk]})
    assert answer.status_code == 422
    assert again(bound).state == "waiting"


class TestWhatWaits:
    def test_the_coordinator_sees_whom_no_date_suits(self, client, coordinator, bound, ask, february):
        client.force_login(coordinator)
        assert (
            "Booking that can make none of the dates: ask again" in client.get(reverse("admin:index")).content.decode()
        )
        listed = client.get(reverse("admin:courses_booking_changelist"), {"dates": "none"}).content.decode()
        assert "Family0 family" in listed

    def test_one_whose_date_has_begun_is_among_them(self, ask, october, february, by):
        ask(12, 12, 12, cohorts=[october])
        waiting = ask(12, cohorts=[october])
        assert list(selectors.bound_to_no_date(NOW)) == []
        clock.set_today(OCTOBER + timedelta(days=1))
        assert list(selectors.bound_to_no_date(clock.today())) == [waiting]

    def test_where_no_date_is_set_there_is_nothing_to_ask(self, bound, february, by):
        services.cancel_cohort(cohort=february, on=NOW, reason="flood", by=by)
        assert list(selectors.bound_to_no_date(NOW)) == []
