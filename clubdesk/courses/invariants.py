"""What must always be true of courses."""

from collections.abc import Iterator

from django.db.models import F

from clubdesk.courses import selectors
from clubdesk.courses.models import Place, PlaceState
from clubdesk.fees.selectors import charges_with_open
from clubdesk.ledger.invariants import invariant


@invariant("A cohort never holds more places than its capacity")
def cohorts_hold() -> Iterator[str]:
    for cohort in selectors.cohorts_with_seats().filter(taken__gt=F("capacity")):
        yield f"{cohort} holds {cohort.taken} places of {cohort.capacity}."


@invariant("Each waitlist is in the order of arrival")
def waitlists_hold() -> Iterator[str]:
    last: dict[int, int] = {}
    for place in Place.objects.exclude(queue_number=None).order_by("cohort_id", "pk"):
        assert place.queue_number is not None
        if place.queue_number <= last.get(place.cohort_id, 0):
            yield f"Place {place.pk} came later than one that stands behind it in its waitlist."
        last[place.cohort_id] = place.queue_number
    jumped = Place.objects.filter(
        state=PlaceState.WAITING,
        cohort__places__state=PlaceState.OFFERED,
        cohort__places__queue_number__gt=F("queue_number"),
    )
    for place in jumped.distinct():
        yield f"Place {place.pk} waits while somebody behind it has an offer."


@invariant("Each held place is charged, and each withdrawn one credited")
def places_are_charged() -> Iterator[str]:
    withdrawn = Place.objects.filter(state=PlaceState.WITHDRAWN).exclude(charge=None).values("charge")
    for charge in charges_with_open().filter(pk__in=withdrawn, creditable__gt=0):
        yield f"Charge {charge.pk} ({charge}) is for a withdrawn place and was not credited."
    held = Place.objects.filter(state=PlaceState.HELD).exclude(charge__person=F("person"))
    for place in held:
        yield f"Place {place.pk} is charged to somebody else."
