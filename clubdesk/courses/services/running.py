"""Running a cohort: who came, who has completed it, and their certificates."""

import secrets
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from stdnum import luhn

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.courses.models import Attendance, Certificate, Cohort, Place, PlaceState
from clubdesk.courses.services.waitlist import locked
from clubdesk.errors import Refused
from clubdesk.verbs import verb

NUMBER_DIGITS = 8


@dataclass(frozen=True)
class Came:
    """Who came to a session."""

    session: date
    who: tuple[Attendance, ...]


@verb(permission="courses.change_place", title="Who came")
def record_attendance(*, cohort: Cohort, session: date, present: Iterable[Place], by: User) -> Came:
    """Who came to a session; recording it again replaces who was there. Raises Refused for a day without session."""
    locked(cohort.course)
    cohort = Cohort.objects.select_related("course").get(pk=cohort.pk)
    if session not in cohort.sessions:
        raise Refused(f"{cohort} has no session on {day_text(session)}.")
    if session > clock.today():
        raise Refused(f"The session of {day_text(session)} has not come yet.")
    held = {place.pk for place in cohort.places.filter(state=PlaceState.HELD)}
    wanted = {place.pk for place in present}
    if not wanted <= held:
        raise Refused("Only people with a place in the cohort can be marked as present.")
    recorded = Attendance.objects.filter(place__cohort=cohort, held_on=session)
    certified = set(recorded.filter(place__certificate__isnull=False).values_list("place", flat=True))
    if certified - wanted:
        raise Refused("Somebody who has a certificate cannot be marked as absent afterwards.")
    recorded.exclude(place__in=wanted).delete()
    there = set(recorded.values_list("place", flat=True))
    Attendance.objects.bulk_create(
        Attendance(place_id=pk, held_on=session, recorded_by=by) for pk in sorted(wanted - there)
    )
    return Came(session, tuple(Attendance.objects.filter(place__cohort=cohort, held_on=session)))


@verb(permission="courses.change_place", title="Issue certificates")
def issue_certificates(*, cohort: Cohort, by: User) -> list[Certificate]:
    """A certificate for everyone who has come to as many sessions as the course asks for; returns the new ones."""
    locked(cohort.course)
    cohort = Cohort.objects.select_related("course").get(pk=cohort.pk)
    issued = []
    places = cohort.places.filter(state=PlaceState.HELD, certificate=None).prefetch_related("attendances")
    for place in places.select_related("person").order_by("pk"):
        days = sorted(each.held_on for each in place.attendances.all())
        needed = max(cohort.course.sessions_to_complete, 1)
        if len(days) >= needed:
            issued.append(
                Certificate.objects.create(
                    key=uuid.uuid4(), place=place, number=_new_number(), completed_on=days[needed - 1], recorded_by=by
                )
            )
    return issued


def _new_number() -> str:
    """Digits by chance and a check digit, so that a slip of the pen shows and nobody guesses another's number.

    Source: the Luhn check digit of ISO/IEC 7812-1 Annex B.
    """
    while True:
        digits = str(secrets.randbelow(9 * 10 ** (NUMBER_DIGITS - 1)) + 10 ** (NUMBER_DIGITS - 1))
        number = digits + luhn.calc_check_digit(digits)
        if not Certificate.objects.filter(number=number).exists():
            return number
