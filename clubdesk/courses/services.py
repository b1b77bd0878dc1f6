"""Verbs of the courses room."""

import uuid
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Max

from clubdesk.courses import selectors
from clubdesk.courses.models import STANDING, Cohort, Place, PlaceState
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.ledger import services as ledger
from clubdesk.roll.models import Person


def _queue(cohort: Cohort) -> Cohort:
    """One change at a time to a cohort's places."""
    return (
        Cohort.objects.select_for_update(of=("self",), no_key=True).select_related("course__fee_item").get(pk=cohort.pk)
    )


@transaction.atomic
def book_place(*, person: Person, cohort: Cohort, by: User, on: date, key: uuid.UUID | None = None) -> Place:
    """Book a place and charge its fee; where the cohort is full, or others wait, the person joins the waitlist.

    Raises Refused for somebody too young on the first session, somebody with a place or waiting already, and
    a cohort that is over.
    """
    cohort = _queue(cohort)
    if found := ledger.written(Place, key):
        return found
    if on > cohort.last_session:
        raise Refused(f"{cohort} is over; choose a later one.")
    age = person.age_on(cohort.first_session)
    if age < cohort.youngest:
        raise Refused(f"{person} is {age} on the first session; {cohort} takes people from {cohort.youngest}.")
    standing = cohort.places.filter(person=person, state__in=STANDING).first()
    if standing:
        raise Refused(f"{person} is in {cohort} already: {standing.get_state_display().lower()}.")
    place = Place(key=key or uuid.uuid4(), cohort=cohort, person=person, booked_on=on, recorded_by=by)
    if selectors.seats_left(cohort) > 0 and not selectors.waitlist(cohort).exists():
        _seat(place, on, by)
    else:
        last = cohort.places.aggregate(last=Max("queue_number"))["last"] or 0
        place.state, place.queue_number = PlaceState.WAITING, last + 1
    place.save()
    return place


def _seat(place: Place, on: date, by: User) -> None:
    """Give the place its seat: the household owes the fee, which is income from the first session."""
    place.charge = charging.charge(
        household=place.person.household,
        person=place.person,
        price=fees.price_on(place.cohort.course.fee_item, place.cohort.first_session),
        description=f"{place.cohort}, {place.person}"[:150],
        on=on,
        starts_on=place.cohort.first_session,
        by=by,
    )
    place.state, place.offer_lapses_on = PlaceState.HELD, None


@transaction.atomic
def withdraw_place(*, place: Place, on: date, reason: str, by: User) -> Place:
    """Give a place up. Its fee is credited, and a seat that comes free is offered to whoever is next."""
    cohort = _queue(place.cohort)
    place = _fresh(place)
    if place.state in (PlaceState.WITHDRAWN, PlaceState.LAPSED):
        return place
    if not reason.strip():
        raise Refused("Say why the place is withdrawn.")
    if place.charge:
        charging.take_back(charge=place.charge, on=on, reason=f"place withdrawn: {reason.strip()}", by=by)
    place.state, place.ended_on, place.offer_lapses_on = PlaceState.WITHDRAWN, on, None
    place.save()
    offer_free_seats(cohort=cohort, on=on, by=by)
    return place


@transaction.atomic
def save_cohort(*, cohort: Cohort, on: date, by: User) -> Cohort:
    """Write a new or changed cohort. Fees already charged wait for its new first session; new seats are offered.

    Raises Refused for another first session once a fee has become income.
    """
    if cohort.pk:
        before = _queue(cohort)
        if before.first_session != cohort.first_session:
            places = before.places.filter(state=PlaceState.HELD).select_related("charge")
            if any(place.charge and place.charge.recognised_on for place in places):
                raise Refused(f"{before} has started; its first session stays {before.first_session:%-d %b %Y}.")
            for place in places:
                assert place.charge is not None
                charging.move_start(charge=place.charge, starts_on=cohort.first_session)
    cohort.save()
    offer_free_seats(cohort=cohort, on=on, by=by)
    return cohort


@transaction.atomic
def offer_free_seats(*, cohort: Cohort, on: date, by: User) -> list[Place]:
    """Offer each free seat to the next who waits, in order of arrival, for the course's number of days."""
    cohort = _queue(cohort)
    if on > cohort.last_session:
        return []
    offered = []
    for place in selectors.waitlist(cohort)[: max(selectors.seats_left(cohort), 0)]:
        place.state = PlaceState.OFFERED
        place.offer_lapses_on = on + timedelta(days=cohort.course.offer_days)
        place.save()
        offered.append(place)
    return offered


@transaction.atomic
def accept_offer(*, place: Place, on: date, by: User) -> Place:
    """Take an offered place: the fee is charged."""
    _queue(place.cohort)
    place = _fresh(place)
    if place.state == PlaceState.HELD:
        return place
    if place.state != PlaceState.OFFERED or place.offer_lapses_on is None:
        raise Refused(f"{place.person} has no offer open ({place.get_state_display().lower()}).")
    if on > place.offer_lapses_on:
        raise Refused(f"The offer lapsed on {place.offer_lapses_on:%-d %b %Y}.")
    _seat(place, on, by)
    place.save()
    return place


@transaction.atomic
def lapse_offers(*, on: date, by: User) -> list[Place]:
    """End every offer whose last day has passed and offer its seat on at once. Doing it again changes nothing."""
    lapsed = []
    due = Place.objects.filter(state=PlaceState.OFFERED, offer_lapses_on__lt=on)
    for cohort in Cohort.objects.filter(places__in=due).distinct().order_by("pk"):
        cohort = _queue(cohort)
        for place in due.filter(cohort=cohort):
            place.state, place.ended_on, place.offer_lapses_on = PlaceState.LAPSED, on, None
            place.save()
            lapsed.append(place)
        offer_free_seats(cohort=cohort, on=on, by=by)
    return lapsed


@transaction.atomic
def end_waiting(*, on: date) -> int:
    """Whoever still waits for a cohort that is over waits no longer; returns how many there were."""
    over = Place.objects.filter(state=PlaceState.WAITING, cohort__last_session__lt=on)
    return over.update(state=PlaceState.UNREACHED, ended_on=on)


def _fresh(place: Place) -> Place:
    return Place.objects.select_related("cohort__course__fee_item", "person__household__party", "charge").get(
        pk=place.pk
    )
