"""What must always be true of courses."""

from collections import Counter, defaultdict
from collections.abc import Iterator

from django.db.models import BigIntegerField, F, Q
from django.db.models.functions import Cast

from clubdesk.courses import selectors
from clubdesk.courses.models import (
    RANK_STEP,
    STANDING,
    Booking,
    BookingEvent,
    Happened,
    Place,
    PlaceState,
)
from clubdesk.fees.selectors import charges_with_open
from clubdesk.ledger.invariants import invariant
from clubdesk.money import shown


@invariant("A cohort never holds more places than its capacity, and a cancelled one none")
def cohorts_hold() -> Iterator[str]:
    over = Q(taken__gt=F("capacity")) | Q(cancelled_on__isnull=False, taken__gt=0)
    for cohort in selectors.cohorts_with_seats().filter(over):
        yield f"{cohort} holds {cohort.taken} places of {cohort.capacity if not cohort.cancelled_on else 0}."


@invariant("Each waitlist is in the order of arrival, but for moves with a reason")
def waitlists_hold() -> Iterator[str]:
    last: dict[int, int] = {}
    for booking in Booking.objects.order_by("course_id", "pk"):
        if booking.number <= last.get(booking.course_id, 0):
            yield f"Booking {booking.pk} came later than one that stands behind it."
        last[booking.course_id] = booking.number
    moved = dict(
        BookingEvent.objects.filter(kind=Happened.MOVED)
        .exclude(words="")
        .order_by("pk")
        .values_list("booking", "rank_after")
    )
    for booking in Booking.objects.exclude(rank=Cast("number", BigIntegerField()) * RANK_STEP):
        if moved.get(booking.pk) != booking.rank:
            yield f"Booking {booking.pk} stands elsewhere in the waitlist than its history says."


@invariant("Nobody was passed over in a waitlist without a reason")
def passes_are_told() -> Iterator[str]:
    offers: dict[int, int] = {}
    for pk, party in BookingEvent.objects.filter(kind=Happened.OFFERED).order_by("pk").values_list("pk", "booking"):
        offers[party] = pk
    came: dict[int, int] = {}
    turns = (Happened.BOOKED, Happened.MOVED, Happened.RETURNED)
    for pk, party in BookingEvent.objects.filter(kind__in=turns).order_by("pk").values_list("pk", "booking"):
        came[party] = pk
    told = set(BookingEvent.objects.filter(kind=Happened.PASSED).values_list("booking", "in_favour_of"))
    waiting = defaultdict(list)
    for booking in Booking.objects.filter(state=PlaceState.WAITING).order_by("rank"):
        waiting[booking.course_id].append(booking)
    for offered in Booking.objects.filter(state=PlaceState.OFFERED):
        for booking in waiting[offered.course_id]:
            if booking.rank > offered.rank:
                break
            ahead_then = came.get(booking.pk, 0) < offers.get(offered.pk, 0)
            if ahead_then and (booking.pk, offered.pk) not in told:
                yield f"Booking {booking.pk} waits while booking {offered.pk} behind it has an offer."


@invariant("A booking stands as its places do")
def parties_hold() -> Iterator[str]:
    states: dict[int, Counter[str]] = defaultdict(Counter)
    for booking, state in Place.objects.values_list("booking", "state"):
        states[booking][state] += 1
    for party in Booking.objects.all():
        found = states[party.pk]
        asks = next((each for each in (PlaceState.OFFERED, PlaceState.WAITING, PlaceState.HELD) if found[each]), None)
        if asks is not None and (party.state, party.seats) != (asks, found[asks]):
            yield f"Booking {party.pk} says {party.state} for {party.seats}; its places say {asks} for {found[asks]}."
        if asks is None and party.state in STANDING:
            yield f"Booking {party.pk} says {party.state}; all its places are ended."
    for place in Place.objects.exclude(course=F("booking__course")):
        yield f"Place {place.pk} is not of its booking's course."


@invariant("Each held place is charged, and each ended one credited by its course's rule")
def places_are_charged() -> Iterator[str]:
    ended = Place.objects.filter(state__in=(PlaceState.WITHDRAWN, PlaceState.LAPSED)).exclude(charge=None)
    for charge in charges_with_open().filter(pk__in=ended.values("charge")):
        beyond = charge.amount.amount - charge.kept.amount - charge.credited
        if charge.taken_back_on is None or min(beyond, charge.creditable) > 0:
            yield f"Charge {charge.pk} ({charge}) is for a place that ended and was not credited."
    for place in Place.objects.filter(state=PlaceState.HELD).exclude(charge__person=F("person")):
        yield f"Place {place.pk} is charged to somebody else."


@invariant("A cancelled cohort has no income")
def cancelled_cohorts_hold() -> Iterator[str]:
    places = Place.objects.exclude(cohort__cancelled_on=None).exclude(charge=None)
    for charge in charges_with_open().filter(pk__in=places.values("charge"), carried_on=None):
        if (left := charge.creditable + charge.by_voucher) > 0:
            yield f"Charge {charge.pk} ({charge}) keeps {shown(left)} of a cohort that was cancelled."
