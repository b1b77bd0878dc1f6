"""What search finds of courses: bookings, their dates, and certificates."""

from collections.abc import Iterator

from clubdesk.clock import day_text
from clubdesk.courses.models import Booking, Certificate, Cohort
from clubdesk.finding import Sought
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.searching import by_name, hit


def bookings(sought: Sought, limit: int) -> Iterator[Hit]:
    """Bookings by their number, which each course counts by itself."""
    rows = Booking.objects.filter(number__in=sought.numbers)
    for booking in rows.select_related("household", "course")[:limit]:
        facts = (str(booking.household), str(booking.course), booking.get_state_display().lower())
        yield hit(booking, f"Booking {booking.number}", ", ".join((*facts, day_text(booking.booked_on))))


def cohorts(sought: Sought, limit: int) -> Iterator[Hit]:
    for cohort, is_alike in by_name(sought, Cohort.objects.select_related("course"), limit):
        cancelled = ", cancelled" if cohort.cancelled_on else ""
        days = f"{day_text(cohort.first_session)} to {day_text(cohort.last_session)}{cancelled}"
        yield hit(cohort, str(cohort), days, is_alike)


def certificates(sought: Sought, limit: int) -> Iterator[Hit]:
    numbers = (sought.digits,) if sought.digits else ()
    rows = Certificate.objects.filter(number__in=numbers, place__person__erased_on=None)
    for certificate in rows.select_related("place__person")[:limit]:
        line = f"{certificate.place.person}, {day_text(certificate.completed_on)}"
        yield hit(certificate, f"Certificate {certificate.shown_number}", line)


FINDS = (
    Finder(
        "Bookings",
        "a booking number",
        permission="courses.view_booking",
        find=bookings,
        called=("booking",),
        page="admin:courses_booking_changelist",
    ),
    Finder(
        "Courses",
        "the name of a course and of its cohort",
        permission="courses.view_cohort",
        find=cohorts,
        page="admin:courses_cohort_changelist",
    ),
    Finder(
        "Certificates",
        "a number",
        permission="courses.view_certificate",
        find=certificates,
        called=("certificate",),
        page="admin:courses_certificate_changelist",
    ),
)
