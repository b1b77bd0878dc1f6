"""Families who ask for places, and what became of their bookings."""

from datetime import date

from clubdesk.courses.models import Booking
from clubdesk.ledger.invariants import check_all
from tests import factories

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


def again(booking):
    return Booking.objects.get(pk=booking.pk)


def states(booking):
    return list(booking.places.order_by("pk").values_list("state", flat=True))


def history(booking):
    return [event.words for event in booking.events.all()]
