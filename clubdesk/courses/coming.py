"""What is to come for a person: what goes along to another family, and what stays with the one that pays for it."""

from datetime import date

from django.db.models import Q, QuerySet

from clubdesk.courses.models import Place, PlaceState
from clubdesk.roll.models import Person


def of_own_family(person: Person, on: date) -> QuerySet[Place]:
    """What the person's own family has booked or waits for and what has not begun; it goes along to another family."""
    return _to_come(person, on).filter(booking__household=person.household_id)


def of_others(person: Person, on: date) -> QuerySet[Place]:
    """The same of what another family has booked for the person, and pays."""
    return _to_come(person, on).exclude(booking__household=person.household_id)


def _to_come(person: Person, on: date) -> QuerySet[Place]:
    held = Q(state=PlaceState.HELD, cohort__first_session__gt=on)
    asked = Q(state__in=(PlaceState.WAITING, PlaceState.OFFERED))
    rows = Place.objects.filter(held | asked, person=person).order_by("pk")
    return rows.select_related("course", "cohort__course", "charge__price", "booking__household")
