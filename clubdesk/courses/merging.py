"""What the courses room says where two people turn out to be one."""

from collections.abc import Iterator
from datetime import date

from django.db.models import Q, QuerySet

from clubdesk.courses.models import STANDING, TAKES_A_SEAT, Course, Place
from clubdesk.courses.selectors import standing_place
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Merging


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """Two places in one course; two in one cohort, however long ago."""
    if not isinstance(one, Person) or not isinstance(other, Person):
        return
    for course in Course.objects.filter(pk__in=_places(one).filter(state__in=STANDING).values("course")):
        own, others = standing_place(one, course, on), standing_place(other, course, on)
        if own and others:
            yield (
                f"Both have a place in {course}, or wait for one ({own.booking}; {others.booking}): "
                "withdraw one of the two first."
            )
    past = _places(one).filter(state__in=TAKES_A_SEAT, cohort__last_session__lt=on)
    for twice in _places(other).filter(state__in=TAKES_A_SEAT, cohort__in=past.values("cohort")):
        yield f"Both had a place in {twice.cohort}, which is over; one person takes one, so these are two."


def _places(person: Person) -> "QuerySet[Place]":
    return Place.objects.filter(person=person.pk).select_related("cohort__course", "booking__household")


def holds(one: Household | Person, other: Household | Person) -> None:
    """The courses in which the two have places, before the families."""
    kind = "person" if isinstance(one, Person) else "booking__household"
    about = Place.objects.filter(Q(**{f"{kind}__in": (one.pk, other.pk)}))
    list(
        Course.objects.select_for_update(of=("self",), no_key=True).order_by("pk").filter(pk__in=about.values("course"))
    )


MERGING = Merging(refuses=refuses, holds=holds)
