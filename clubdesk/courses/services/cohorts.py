"""Cohorts: setting one up, changing its days or seats, cancelling it."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db.models import F, QuerySet

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.courses import letters, selectors
from clubdesk.courses import words as words_about
from clubdesk.courses.models import TAKES_A_SEAT, Booking, Cohort, Happened, Place, PlaceState
from clubdesk.courses.services.waitlist import fresh, locked, note, offer_free_seats, renew
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.fees.selectors import TakenBack, all_taken_back, charges_with_open
from clubdesk.verbs import verb


@dataclass(frozen=True)
class SavedCohort:
    """A cohort as it was written, the parties that were offered places by that, and who is too young for it now."""

    cohort: Cohort
    offered: tuple[Booking, ...]
    too_young: tuple[Place, ...] = ()

    @property
    def seats(self) -> int:
        """How many places were offered."""
        return sum(booking.seats for booking in self.offered)


@verb(permission="courses.change_cohort", title="Save a cohort")
def save_cohort(*, cohort: Cohort, on: date, by: User) -> SavedCohort:
    """Write a new or changed cohort. Fees already charged wait for its new first session; new seats are offered.

    Where its days have changed, who has a place may leave within the days of an offer and owes nothing then (common
    practice, no source).

    Raises Refused for one that was cancelled, and for another first session once a fee has become income.
    """
    course = locked(cohort.course)
    before = Cohort.objects.select_related("course").filter(pk=cohort.pk).first() if cohort.pk else None
    if before and before.cancelled_on:
        raise Refused(f"{before} was cancelled on {day_text(before.cancelled_on)}; set up a new one instead.")
    if before and before.course_id != cohort.course_id:
        raise Refused(f"{before} stays a cohort of {before.course}; set up a new one for another course.")
    if before and before.first_session != cohort.first_session:
        if cohort.first_session < on and _parties_in(before):
            raise Refused(
                f"{day_text(cohort.first_session)} has passed, and {before} has people in it; check the year."
            )
        _move_first_session(before, cohort, on)
    cohort.save()
    moved = before is not None and (before.sessions, before.last_session) != (cohort.sessions, cohort.last_session)
    if moved:
        _tell_everyone(cohort, on, by)
    young = tuple(selectors.seated_too_young_for(cohort)) if moved else ()
    return SavedCohort(cohort, tuple(offer_free_seats(course=course, on=on, by=by)), young)


def _move_first_session(before: Cohort, cohort: Cohort, on: date) -> None:
    places = before.places.filter(state=PlaceState.HELD).select_related("charge")
    charges = charging.lock_charges(place.charge for place in places if place.charge).values()
    if any(charge.recognised_on or not charge.waits for charge in charges):
        raise Refused(
            f"{before} has started, or a fee of it is income already; its first session stays "
            f"{day_text(before.first_session)}. Transfer its people to a new cohort instead."
        )
    for charge in charges:
        charging.move_start(charge=charge, starts_on=cohort.first_session)
    last_day = max(cohort.first_session, on)
    offered = Booking.objects.filter(places__cohort=before, state=PlaceState.OFFERED, offer_lapses_on__gt=last_day)
    offered.update(offer_lapses_on=last_day)


def _tell_everyone(cohort: Cohort, on: date, by: User) -> None:
    days = f"{day_text(cohort.first_session)} to {day_text(cohort.last_session)}"
    sessions = ", ".join(day_text(day, weekday=True, year=False) for day in cohort.sessions)
    until = max(on, clock.today()) + timedelta(days=cohort.course.offer_days)
    held = Place.objects.filter(cohort=cohort, state=PlaceState.HELD)
    held.update(free_to_leave_until=until)
    holders = set(held.values_list("booking", flat=True))
    for booking in _parties_in(cohort):
        event = note(booking, Happened.CHANGED, f"{cohort.name} is now from {days}.", on=on, by=by, cohort=cohort)
        opening = [f"The days of {cohort.name} have changed: it is now from {days}.", f"Its sessions: {sessions}."]
        if booking.pk in holders:
            opening.append(f"If you cannot make the new days, withdraw by {long_day(until)}: you then owe nothing.")
        letters.tell(event, opening, "new days")


def _parties_in(cohort: Cohort) -> list[Booking]:
    seated = Place.objects.filter(cohort=cohort, state__in=TAKES_A_SEAT)
    rows = Booking.objects.filter(pk__in=seated.values("booking"))
    return list(rows.select_related("course", "household__party", "guardian").order_by("rank"))


@verb(permission="courses.change_cohort", title="Cancel this cohort")
def cancel_cohort(*, cohort: Cohort, on: date, reason: str, by: User) -> Cohort:
    """The cohort does not take place: every fee is credited in full, and its parties are offered the next.

    They stand in the waitlist by their order of arrival, so whoever booked first is offered first. What was kept of
    those who withdrew before is credited too; a voucher that is claimed already goes with the child to the next cohort.
    """
    course = locked(cohort.course)
    cohort = Cohort.objects.select_related("course").get(pk=cohort.pk)
    if cohort.cancelled_on:
        return cohort
    if not reason.strip():
        raise Refused("Say why the cohort is cancelled; the families are told.")
    if cohort.last_session < on:
        raise Refused(f"{cohort} is over.")
    if cohort.places.exclude(certificate=None).exists():
        raise Refused(f"Somebody has completed {cohort}; it can no longer be cancelled.")
    parties = _parties_in(cohort)
    left = list(_who_left(cohort).exclude(pk__in=[booking.pk for booking in parties]))
    charged = cohort.places.exclude(charge=None).select_related("charge")
    charging.lock_charges(place.charge for place in charged if place.charge)
    taken = {booking.pk: _call_off(booking, cohort, on, reason.strip(), by) for booking in (*parties, *left)}
    cohort.cancelled_on, cohort.cancel_reason = on, reason.strip()[:150]
    cohort.save()
    sorry = f"We are sorry: {cohort} cannot take place ({reason.strip()})."
    for booking in parties:
        words = f"{cohort.name} was cancelled: {reason.strip()}. The booking waits again, in its old order."
        event = note(fresh(booking), Happened.RETURNED, words, on=on, by=by, cohort=cohort, seats=booking.seats)
        turn = "You keep your turn: as soon as another cohort has room you are offered a place."
        opening = [sorry, *words_about.called_off_for_the_family(taken[booking.pk]), turn]
        letters.tell(event, [*opening, *words_about.asked_again(booking, on)], "cancelled")
    for booking in left:
        words = f"{cohort.name} was cancelled: {reason.strip()}. What was kept of the fee is given back."
        event = note(booking, Happened.CHANGED, words, on=on, by=by, cohort=cohort)
        letters.tell(event, [sorry, *words_about.called_off_for_the_family(taken[booking.pk])], "cancelled")
    offer_free_seats(course=course, on=on, by=by)
    return cohort


def _who_left(cohort: Cohort) -> QuerySet[Booking]:
    """The parties of which somebody left the cohort before, and the club kept something of the fee."""
    kept = charges_with_open().filter(amount__gt=F("credited"), carried_on=None)
    ended = Place.objects.filter(cohort=cohort, state=PlaceState.WITHDRAWN, charge__in=kept.values("pk"))
    rows = Booking.objects.filter(pk__in=ended.values("booking"))
    return rows.select_related("course", "household__party", "guardian").order_by("rank")


def _call_off(booking: Booking, cohort: Cohort, on: date, reason: str, by: User) -> TakenBack:
    """The party's places in the cohort end and it waits again; every fee of it is taken back, of those too who left."""
    taken = []
    for place in booking.places.filter(cohort=cohort).select_related("charge").order_by("pk"):
        if place.charge:
            why = f"cohort cancelled: {reason}"
            taken.append(charging.call_off(charge=place.charge, on=on, reason=why, by=by))
        if place.state == PlaceState.OFFERED:
            place.state, place.cohort, place.offered_price = PlaceState.WAITING, None, None
            place.save()
        elif place.state == PlaceState.HELD:
            place.state, place.ended_on = PlaceState.WITHDRAWN, on
            place.save()
            Place.objects.create(booking=booking, course=booking.course, person_id=place.person_id, recorded_by=by)
    renew(booking, on)
    return all_taken_back(taken)
