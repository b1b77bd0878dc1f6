"""A party of which one waits again still pays for the place that it has, by its day."""

from datetime import date, timedelta

import pytest

from clubdesk import clock
from clubdesk.courses import services, words
from clubdesk.courses.admin.bookings import owes_by_a_day
from clubdesk.errors import Refused
from clubdesk.mail.models import Message
from tests.courses.families import NOW, again, sound, states

pytestmark = pytest.mark.django_db
DUE = NOW + timedelta(days=14)


@pytest.fixture
def course(october):
    course = october.course
    course.pay_days, course.reminder_days = 14, 5
    course.save()
    return course


@pytest.fixture
def booking(ask, course, october, february, by):
    """Two children, one in October and one in February; October is cancelled, so one of them waits again."""
    booked = ask(12, 12, cohorts=[february])
    other = ask(12, 12, 12, cohorts=[october])
    services.withdraw_place(place=other.places.first(), on=NOW, reason="ill", by=by)
    services.transfer(booking=booked, places=[booked.places.first()], cohort=october, on=NOW, reason="sooner", by=by)
    february.capacity = 1
    services.save_cohort(cohort=february, on=NOW, by=by)
    services.cancel_cohort(cohort=october, on=NOW, reason="flood", by=by)
    return again(booked)


def nights(until, by):
    for passed in range((until - NOW).days + 1):
        clock.set_today(NOW + timedelta(days=passed))
        services.lapse_unpaid(on=clock.today(), by=by)
        services.remind_unpaid(on=clock.today(), by=by)
        Message.objects.filter(state="waiting").update(state="sent", sent_at=clock.now())


def test_the_day_to_pay_for_the_other_place_stands(booking):
    assert (booking.state, sorted(states(booking))) == ("waiting", ["held", "waiting", "withdrawn"])
    assert booking.pay_by == DUE
    assert owes_by_a_day(booking)
    assert f"Please pay by {DUE.day} September 2026." in " ".join(words.standing_in_words(booking))


def test_unpaid_it_lapses_after_a_reminder_and_the_child_who_waits_is_next(booking, by):
    nights(DUE + timedelta(days=1), by)
    assert Message.objects.filter(household=booking.household, subject__contains="please pay").exists()
    assert sorted(states(booking)) == ["lapsed", "offered", "withdrawn"]
    assert again(booking).pay_by is None
    assert sound()


def test_the_family_can_be_phoned_and_given_more_time(booking, by):
    services.give_more_time(booking=booking, pay_by=date(2026, 10, 31), on=NOW, reason="voucher is coming", by=by)
    services.remind_by_phone(booking=booking, on=NOW, by=by)
    assert again(booking).pay_by == date(2026, 10, 31)


def test_once_the_waiting_child_is_withdrawn_the_day_is_as_it_was(booking, by):
    waiting = booking.places.get(state="waiting")
    services.withdraw(booking=booking, places=[waiting], on=NOW, reason="too far off", by=by)
    assert (again(booking).state, again(booking).pay_by) == ("held", DUE)


def test_who_has_no_place_at_all_has_no_day_to_pay(booking, by):
    held = booking.places.get(state="held")
    services.withdraw(booking=booking, places=[held], on=NOW, reason="too far off", by=by)
    assert again(booking).pay_by is None
    with pytest.raises(Refused, match="no places that could lapse"):
        services.give_more_time(booking=booking, pay_by=DUE, on=NOW, reason="late", by=by)
