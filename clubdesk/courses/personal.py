"""What this room holds about people."""

from collections.abc import Iterator, Sequence
from datetime import date

from clubdesk.courses.models import STANDING, Attendance, BookingEvent, Certificate, Place, ReachCheck
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Erase, Personal, Told


def _checks(home: Household) -> Iterator[Sequence[object]]:
    for check in ReachCheck.objects.filter(person__household=home).select_related("person"):
        yield ("Draw check", str(check.person), check.checked_on, "", f"by {check.checked_by}")


def _courses(home: Household) -> Iterator[Sequence[object]]:
    for place in Place.objects.filter(person__household=home).select_related("person", "cohort__course", "course"):
        yield (place.recorded_at.date(), "Place", str(place), place.get_state_display())
    for event in BookingEvent.objects.filter(booking__household=home):
        yield (event.on, "History", event.words, "")
    for each in Attendance.objects.filter(place__person__household=home).select_related("place__person"):
        yield (each.held_on, "Came", str(each.place.person), "")
    for certificate in Certificate.objects.filter(place__person__household=home).select_related("place__person"):
        yield (certificate.completed_on, "Certificate", str(certificate), "")


def has_a_place(person: Person, *, is_last: bool, on: date) -> str:
    """Why the details of somebody stay: a place, or the offer of one, in a cohort that is not over."""
    standing = Place.objects.filter(person=person, state__in=STANDING, cohort__last_session__gte=on)
    return f"{person} has a place in a course." if standing.exists() else ""


PERSONAL = (
    Personal("courses.Booking", person="places__person", family="household"),
    Personal("courses.Place", person="person", retained_from=("booking__booked_on", "cohort__last_session")),
    Personal(
        "courses.BookingEvent",
        person="booking__places__person",
        family="booking__household",
        erased=(Erase("words"),),
        told=("words",),
        retained_from=("on",),
    ),
    Personal("courses.ReachCheck", person="person", told=("checked_by",), retained_from=("checked_on",)),
    Personal("courses.Attendance", person="place__person", retained_from=("held_on",)),
    Personal("courses.Certificate", person="place__person", told=("number",), retained_from=("completed_on",)),
)
TOLD = (
    Told(
        "People",
        (("What", 14), ("Name", 30), ("Day", 14), ("E-mail", 30), ("Phone, or words", 60)),
        _checks,
    ),
    Told("Courses", (("Day", 14), ("What", 14), ("Words", 90), ("Now", 20)), _courses),
)
