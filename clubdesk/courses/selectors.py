"""Questions about courses."""

from typing import Any

from django.db.models import Count, Q, QuerySet

from clubdesk.courses.models import TAKES_A_SEAT, Cohort, Place, PlaceState


def cohorts_with_seats() -> QuerySet[Any]:
    """Cohorts with `taken` (held and offered) and `waiting`."""
    return Cohort.objects.select_related("course").annotate(
        taken=Count("places", filter=Q(places__state__in=TAKES_A_SEAT)),
        waiting=Count("places", filter=Q(places__state=PlaceState.WAITING)),
    )


def seats_left(cohort: Cohort) -> int:
    return cohort.capacity - cohort.places.filter(state__in=TAKES_A_SEAT).count()


def waitlist(cohort: Cohort) -> QuerySet[Place]:
    """Who waits, in the order of arrival."""
    return cohort.places.filter(state=PlaceState.WAITING).select_related("person").order_by("queue_number")


def position(place: Place) -> int:
    """1 for whoever is next."""
    return waitlist(place.cohort).filter(queue_number__lte=place.queue_number).count()
