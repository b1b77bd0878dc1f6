"""What the calendar shows of courses: each session of what parents can book; a family's own."""

from collections.abc import Iterator, Sequence
from datetime import date

from django.db.models import QuerySet

from clubdesk.courses.models import Cohort, Place, PlaceState
from clubdesk.courses.selectors import names
from clubdesk.dates import Dated
from clubdesk.roll.models import Household, Person


def dates(first: date, last: date) -> Iterator[Dated]:
    for cohort in _running(first, last).filter(course__on_parents_page=True).order_by("first_session", "pk"):
        from_age = f" From {cohort.youngest} years on." if cohort.youngest else ""
        yield from _sessions(cohort, str(cohort), first, last, more=from_age)


def dates_of(home: Household, people: Sequence[Person], first: date, last: date) -> Iterator[Dated]:
    """The sessions of the places that its people hold, and until when offers are to be answered."""
    held: dict[Cohort, list[Person]] = {}
    offered: dict[int, list[Place]] = {}
    rows = Place.objects.filter(
        person__in=people, state__in=(PlaceState.HELD, PlaceState.OFFERED), cohort__in=_running(first, last)
    )
    for place in rows.select_related("booking", "cohort__course", "person").order_by("pk"):
        if place.state == PlaceState.HELD and place.cohort:
            held.setdefault(place.cohort, []).append(place.person)
        elif place.booking.household_id == home.pk:
            offered.setdefault(place.booking_id, []).append(place)
    for cohort, who in held.items():
        yield from _sessions(cohort, f"{names(who)}: {cohort}", first, last)
    for booking, places in offered.items():
        by = places[0].booking.offer_lapses_on
        if by and first <= by <= last:
            title = f"Answer by today: {places[0].cohort}, {names(place.person for place in places)}"
            yield Dated(f"offer {booking}", "answer", title, by, by, line="The place is offered on after this day.")


def _running(first: date, last: date) -> QuerySet[Cohort]:
    return Cohort.objects.filter(first_session__lte=last, last_session__gte=first).select_related("course")


def _sessions(cohort: Cohort, title: str, first: date, last: date, more: str = "") -> Iterator[Dated]:
    days = cohort.sessions
    for number, day in enumerate(days, 1):
        if first <= day <= last:
            is_off = cohort.cancelled_on is not None
            yield Dated(
                f"cohort {cohort.pk} session {number}",
                "course",
                title,
                day,
                day,
                line="Cancelled." if is_off else f"Session {number} of {len(days)}.{more}",
                begins=cohort.begins_at,
                ends=cohort.ends_at,
                is_off=is_off,
            )
