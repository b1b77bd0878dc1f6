"""A family that pays its place in parts, as agreed, keeps it; one that does not is reminded like any other."""

from datetime import date, timedelta

import pytest

from clubdesk import clock
from clubdesk.courses import services, words
from clubdesk.fees import services as charging
from clubdesk.fees.models import Method
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories
from tests.courses.families import NOW, again, sound

pytestmark = pytest.mark.django_db
PARTS = [(NOW, as_amount(40)), (date(2026, 10, 12), as_amount(46)), (date(2026, 11, 12), as_amount(40))]


@pytest.fixture
def course(february):
    course = february.course
    course.pay_days, course.reminder_days = 14, 5
    course.save()
    return course


@pytest.fixture
def booking(ask, course, february, by):
    """A place of 126.00 that is paid in three parts, the first on its day."""
    booked = ask(12, cohorts=[february])
    charging.agree_parts(household=booked.household, parts=PARTS, on=NOW, by=by)
    pay(booked, 40, NOW, by)
    return booked


def pay(booking, amount, on, by):
    charging.record_receipt(household=booking.household, amount=as_amount(amount), method=Method.CARD, on=on, by=by)


def nights(first, last, by):
    """Each night's reminders and lapses; every letter goes out at once."""
    for passed in range((last - first).days + 1):
        clock.set_today(first + timedelta(days=passed))
        services.lapse_unpaid(on=clock.today(), by=by)
        services.remind_unpaid(on=clock.today(), by=by)
        Message.objects.filter(state="waiting").update(state="sent", sent_at=clock.now())


def test_who_pays_each_part_by_its_day_is_not_reminded_and_keeps_the_place(booking, by):
    nights(NOW, PARTS[1][0], by)
    pay(booking, 46, PARTS[1][0], by)
    nights(PARTS[1][0], PARTS[2][0], by)
    pay(booking, 40, PARTS[2][0], by)
    nights(PARTS[2][0], PARTS[2][0] + timedelta(days=30), by)
    assert again(booking).state == "held"
    assert not Message.objects.filter(subject__contains="please pay").exists()
    assert sound()


def test_who_misses_a_part_is_reminded_and_then_loses_it(booking, by):
    nights(NOW, PARTS[1][0] + timedelta(days=1), by)
    letter = Message.objects.get(subject__contains="please pay")
    assert letter.written_at
    assert again(booking).pay_by == PARTS[1][0] + timedelta(days=1 + 5)
    nights(PARTS[1][0] + timedelta(days=2), PARTS[1][0] + timedelta(days=8), by)
    assert again(booking).state == "lapsed"


def test_a_place_taken_after_the_family_agreed_is_paid_by_its_own_day(booking, course, february, by):
    clock.set_today(NOW + timedelta(days=1))
    sibling = factories.PersonFactory(household=booking.household, birth_date=date(2013, 3, 9))
    other = services.book_place(person=sibling, cohort=february, on=clock.today(), by=by)
    nights(clock.today(), NOW + timedelta(days=29), by)
    assert (again(booking).state, again(other.booking).state) == ("held", "lapsed")


def test_once_all_parts_are_paid_what_is_left_is_due_as_ever(ask, course, february, by):
    booked = ask(12, cohorts=[february])
    charging.agree_parts(household=booked.household, parts=[(NOW, as_amount(126))], on=NOW, by=by)
    sibling = factories.PersonFactory(household=booked.household, birth_date=date(2013, 3, 9))
    other = services.book_place(person=sibling, cohort=february, on=NOW, by=by)
    pay(booked, 126, NOW, by)
    nights(NOW, NOW + timedelta(days=29), by)
    assert (again(booked).state, again(other.booking).state) == ("held", "lapsed")


def test_the_family_reads_that_it_pays_in_parts_and_no_day_that_is_not_its_own(booking):
    sentences = " ".join(words.standing_in_words(again(booking)))
    assert "$86.00 is still to pay, in the parts that you agreed with the club." in sentences
    assert "Please pay by" not in sentences
