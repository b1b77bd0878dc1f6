"""Cohorts: setting one up, changing its days or seats, cancelling it."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db.models import F, QuerySet

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.courses import checks, letter_kinds, telling
from clubdesk.courses import words as words_about
from clubdesk.courses.models import TAKES_A_SEAT, Booking, BookingEvent, Cohort, Happened, Place, PlaceState
from clubdesk.courses.services.waitlist import fresh, locked, note, offer_free_seats, renew
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.fees.selectors import TakenBack, all_taken_back, charges_with_open
from clubdesk.mail.models import Message
from clubdesk.verbs import verb

TURN = "You keep your turn: as soon as another cohort has room you are offered a place."


@dataclass(frozen=True)
class SavedCohort:
    """A cohort as it was written, the parties that were offered places by that, who is too young for it now, and the
    letters about its other days.
    """

    cohort: Cohort
    offered: tuple[Booking, ...]
    too_young: tuple[Place, ...] = ()
    told: tuple[Message, ...] = ()

    @property
    def seats(self) -> int:
        """How many places were offered."""
        return sum(booking.seats for booking in self.offered)


@verb(permission="courses.change_cohort", title="Save a cohort")
def save_cohort(
    *, cohort: Cohort, on: date, by: User, tell_them: bool = True, letter: str = telling.OTHER_DAYS
) -> SavedCohort:
    """Write a new or changed cohort. Fees already charged wait for its new first session; new seats are offered.

    Where its days have changed, who has a place may leave within the days of an offer and owes nothing then (common
    practice, no source), and each family is told by one letter, unless it is not to `tell_them`.

    Raises Refused for one that was cancelled, for another first session once a fee has become income, and for an
    unknown field of the letter.
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
    told = _tell_everyone(cohort, letter if tell_them else "", on, by) if moved else []
    young = tuple(checks.seated_too_young_for(cohort)) if moved else ()
    return SavedCohort(cohort, tuple(offer_free_seats(course=course, on=on, by=by)), young, tuple(told))


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
    offered = Place.objects.filter(cohort=before, state=PlaceState.OFFERED).values("booking")
    Booking.objects.filter(pk__in=offered, offer_lapses_on__gt=last_day).update(offer_lapses_on=last_day)


def _tell_everyone(cohort: Cohort, letter: str, on: date, by: User) -> list[Message]:
    """Note in each party's history that the days changed, and tell its family; a blank letter tells nobody."""
    values, told = telling.new_days(cohort), []
    until = max(on, clock.today()) + timedelta(days=cohort.course.offer_days)
    held = Place.objects.filter(cohort=cohort, state=PlaceState.HELD)
    held.update(free_to_leave_until=until)
    holders = set(held.values_list("booking", flat=True))
    may_leave = f"If you cannot make the new days, please withdraw by {long_day(until)}: you then owe nothing."
    for bookings in telling.by_family(_parties_in(cohort)):
        words = f"{cohort.name} is now from {day_text(cohort.first_session)} to {day_text(cohort.last_session)}."
        events = [note(each, Happened.CHANGED, words, on=on, by=by, cohort=cohort) for each in bookings]
        if letter:
            can_leave = any(each.pk in holders for each in bookings)
            said = {"words": telling.opening(letter, **values), "may_leave": may_leave if can_leave else ""}
            told.append(telling.tell(events, letter_kinds.NEW_DAYS, said))
    return told


def _parties_in(cohort: Cohort) -> list[Booking]:
    seated = Place.objects.filter(cohort=cohort, state__in=TAKES_A_SEAT)
    rows = Booking.objects.filter(pk__in=seated.values("booking"))
    return list(rows.select_related("course", "household__party", "guardian").order_by("rank"))


@verb(permission="courses.change_cohort", title="Cancel this cohort")
def cancel_cohort(
    *, cohort: Cohort, on: date, reason: str, by: User, tell_them: bool = True, letter: str = telling.CANCELLED
) -> Cohort:
    """The cohort does not take place: every fee is credited in full, and its parties are offered the next.

    They stand in the waitlist by their order of arrival, so whoever booked first is offered first. What was kept of
    those who withdrew before is credited too; a voucher that is claimed already goes with the child to the next cohort.
    Each family is told by one letter, which begins as `letter` says, unless it is not to `tell_them`.
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
    words = telling.opening(letter, cohort=str(cohort), reason=reason.strip()) if tell_them else ""
    for bookings in telling.by_family([*parties, *left]):
        waits = [booking for booking in bookings if booking in parties]
        events = [_note_cancelled(booking, cohort, booking in waits, on, by) for booking in bookings]
        if tell_them:
            money = words_about.called_off_for_the_family(all_taken_back(taken[each.pk] for each in bookings))
            again = dict.fromkeys(line for booking in waits for line in words_about.asked_again(booking, on))
            said = {"money": "\n\n".join(money), "turn": TURN if waits else "", "could_not": "\n\n".join(again)}
            telling.tell(events, letter_kinds.CANCELLED, {"words": words, **said})
    offer_free_seats(course=course, on=on, by=by)
    return cohort


def _note_cancelled(booking: Booking, cohort: Cohort, waits: bool, on: date, by: User) -> BookingEvent:
    """A line of the party's history: that it `waits` again, or that it had left before."""
    cancelled = f"{cohort.name} was cancelled: {cohort.cancel_reason}."
    if not waits:
        words = f"{cancelled} What was kept of the fee is given back."
        return note(booking, Happened.CHANGED, words, on=on, by=by, cohort=cohort)
    words, party = f"{cancelled} The booking waits again, in its old order.", fresh(booking)
    return note(party, Happened.RETURNED, words, on=on, by=by, cohort=cohort, seats=booking.seats)


def _who_left(cohort: Cohort) -> QuerySet[Booking]:
    """The parties of which somebody left the cohort before, or lapsed unpaid, and something of the fee was kept."""
    kept = charges_with_open().filter(amount__gt=F("credited"), carried_on=None)
    over = (PlaceState.WITHDRAWN, PlaceState.LAPSED)
    ended = Place.objects.filter(cohort=cohort, state__in=over, charge__in=kept.values("pk"))
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
