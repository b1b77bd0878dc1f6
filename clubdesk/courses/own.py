"""What a family's own page shows of courses: places, turns in the queue, offers to answer, certificates."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from clubdesk.clock import long_day
from clubdesk.courses.checks import needed
from clubdesk.courses.models import STANDING, Booking, Certificate, Place, PlaceState
from clubdesk.courses.selectors import names
from clubdesk.families import FeeToCome, OfChild, Part, ToAnswer
from clubdesk.money import cents_of
from clubdesk.roll.models import Household, Person

SHOWN_FOR = timedelta(days=365)
"""How long a course that is over stays on the page; its certificate stays."""


def of_family(home: Household, people: Sequence[Person], on: date) -> Part:
    """What the family booked, whoever of it comes; nothing of what another family booked for one of its children."""
    places = list(_places(home, people, on))
    offers: dict[int, list[Any]] = {}
    for place in places:
        if place.state == PlaceState.OFFERED:
            offers.setdefault(place.booking_id, []).append(place)
    due = {
        place.charge_id: place.booking.pay_by
        for place in places
        if place.state == PlaceState.HELD and place.charge_id and place.booking.pay_by
    }
    return Part(
        to_answer=tuple(_to_answer(offered) for offered in offers.values()),
        children=(*(_line(place, on) for place in places), *_certificates(home, people)),
        due=due,
        to_come=tuple(_once_accepted(place) for offered in offers.values() for place in offered if place.offered_price),
    )


def _places(home: Household, people: Sequence[Person], on: date) -> QuerySet[Any]:
    """Places that stand, each with its turn in the queue as `turn`, in one question."""
    before = Booking.objects.filter(
        course=OuterRef("course"), state=PlaceState.WAITING, rank__lte=OuterRef("booking__rank")
    )
    turn = before.order_by().values("course").annotate(count=Count("pk")).values("count")
    rows = Place.objects.filter(booking__household=home, person__in=people, state__in=STANDING)
    rows = rows.exclude(cohort__last_session__lt=on - SHOWN_FOR)
    watched = needed(on).filter(pk=OuterRef("pk"))
    return (
        rows.annotate(turn=Coalesce(Subquery(turn), Value(0)), is_watched=Exists(watched))
        .select_related("booking", "course", "cohort__course", "person", "offered_price__item")
        .order_by("pk")
    )


def _line(place: Any, on: date) -> OfChild:
    words, note = _stands(place, on)
    return OfChild(place.person_id, words, note, page="book:own", arguments=(place.booking_id,))


def _stands(place: Any, on: date) -> tuple[str, str]:
    """What a place is, and how it stands on the day."""
    if place.state == PlaceState.WAITING:
        first = "; first a draw check at the range" if place.is_watched else ""
        return f"Waits for {place.course}", f"Number {place.turn} in the queue{first}"
    if place.state == PlaceState.OFFERED:
        return str(place.cohort), "A place is offered: answer above"
    first = place.cohort.first_session
    if place.cohort.last_session < on:
        return str(place.cohort), "Is over"
    return str(place.cohort), f"{'From' if first > on else 'Since'} {long_day(first)}"


def _to_answer(offered: Sequence[Any]) -> ToAnswer:
    first = offered[0]
    who = names(place.person for place in offered)
    starts = f"It starts on {long_day(first.cohort.first_session, weekday=True)}. You owe the fee once you accept."
    title = f"{'Places' if len(offered) > 1 else 'A place'} for {who}: {first.cohort}"
    return ToAnswer(title, starts, first.booking.offer_lapses_on, page="book:own", arguments=(first.booking_id,))


def _once_accepted(place: Any) -> FeeToCome:
    """What an offered place costs once the family accepts it."""
    price, words = place.offered_price, f"the place in {place.cohort}, once accepted"
    return FeeToCome(place.person_id, words, cents_of(price.amount), price.item, place.course.pay_days)


def _certificates(home: Household, people: Sequence[Person]) -> Iterator[OfChild]:
    rows = Certificate.objects.filter(place__booking__household=home, place__person__in=people)
    for each in rows.select_related("place__course").order_by("-pk"):
        yield OfChild(
            each.place.person_id,
            f"Certificate, {each.place.course} (PDF)",
            f"Completed on {long_day(each.completed_on)}",
            page="book:own_certificate",
            arguments=(each.place.booking_id, each.pk),
        )
