"""What offering the next seat costs as a waitlist grows."""

from datetime import date

import pytest
from django.db import connection, transaction

from clubdesk.courses import services
from clubdesk.courses.models import RANK_STEP, Booking, Cohort, Course, Place
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.roll.models import Guardian, Household, Person
from tests import factories

pytestmark = pytest.mark.django_db
ON = date(2026, 9, 12)


def waitlist(by, parties, name):
    """A course with one full cohort and so many parties waiting, every third of them of two."""
    item = factories.FeeItem.objects.filter(kind="course").first() or factories.price().item
    course = Course.objects.create(name=name, fee_item=item, minimum_age=10)
    cohort = Cohort.objects.create(
        course=course, name="Full", first_session=date(2026, 10, 4), last_session=date(2026, 10, 25), capacity=1
    )
    services.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=ON)
    numbers = range(2, parties + 2)
    names = [f"{name} {number}" for number in numbers]
    made = Party.objects.bulk_create(Party(name=each, kind=PartyKind.HOUSEHOLD) for each in names)
    homes = Household.objects.bulk_create(Household(name=party.name, party=party) for party in made)
    Guardian.objects.bulk_create(Guardian(household=home, name="G", email="g@example.org") for home in homes)
    sizes = [2 if number % 3 == 2 else 1 for number in numbers]
    people = Person.objects.bulk_create(
        Person(household=home, given_name="Child", family_name=home.name, birth_date=date(2014, 3, 9))
        for home, size in zip(homes, sizes, strict=True)
        for _ in range(size)
    )
    bookings = Booking.objects.bulk_create(
        Booking(
            course=course,
            household=home,
            booked_on=ON,
            number=number,
            rank=number * RANK_STEP,
            seats=size,
            recorded_by=by,
        )
        for number, home, size in zip(numbers, homes, sizes, strict=True)
    )
    booking_of = {booking.household_id: booking for booking in bookings}
    Place.objects.bulk_create(
        Place(booking=booking_of[person.household_id], course=course, person=person, recorded_by=by)
        for person in people
    )
    return cohort


def test_offering_the_next_seat_of_5000_waiting_beside_50(ratio, book, by):
    """One more seat in a full cohort, offered to the first party that fits; undone again each time."""
    long, short = waitlist(by, 5000, "Long"), waitlist(by, 50, "Short")
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")

    def offer(cohort):
        with transaction.atomic():
            Cohort.objects.filter(pk=cohort.pk).update(capacity=2)
            (booking,) = services.offer_free_seats(course=cohort.course, on=ON, by=by)
            assert booking.number == 3
            transaction.set_rollback(True)

    ratio(lambda: offer(long), lambda: offer(short), rounds=31, limit=2)
