"""Which families of a course the club may write to together, and what is to come for their children."""

from collections.abc import Iterator, Sequence
from datetime import date

from clubdesk.audiences import Audience, ToCome
from clubdesk.clock import day_text
from clubdesk.courses.models import TAKES_A_SEAT, Course, Place, PlaceState
from clubdesk.courses.selectors import cohorts_not_over
from clubdesk.roll.selectors import people_of_families


def _cohorts(on: date) -> Iterator[tuple[int, str]]:
    for cohort in cohorts_not_over(on):
        yield cohort.pk, f"{cohort}, from {day_text(cohort.first_session)}"


def _of_cohort(chosen: int, on: date) -> dict[int, list[int]]:
    places = Place.objects.filter(cohort=chosen, state__in=TAKES_A_SEAT, person__erased_on=None)
    return people_of_families(places.order_by("pk").values_list("booking__household", "person"))


def _with_a_queue(on: date) -> Iterator[tuple[int, str]]:
    waiting = Place.objects.filter(state=PlaceState.WAITING).values("course")
    for course in Course.objects.filter(pk__in=waiting).order_by("name"):
        yield course.pk, str(course)


def _who_waits(chosen: int, on: date) -> dict[int, list[int]]:
    places = Place.objects.filter(course=chosen, state=PlaceState.WAITING, person__erased_on=None)
    return people_of_families(places.order_by("pk").values_list("booking__household", "person"))


def to_come(people: Sequence[int], on: date) -> Iterator[ToCome]:
    """The sessions of the cohorts in which they have a place."""
    held = Place.objects.filter(person__in=people, state=PlaceState.HELD, cohort__last_session__gte=on)
    for place in held.select_related("cohort__course"):
        assert place.cohort, "a place that is held has its cohort"
        yield from (
            ToCome(place.person_id, day, str(place.cohort.course)) for day in place.cohort.sessions if day >= on
        )


AUDIENCES = (
    Audience("cohort", "Those of a cohort", _of_cohort, _cohorts),
    Audience("waitlist", "Who waits for a course", _who_waits, _with_a_queue),
)
