"""Leaving a place: withdrawal by the course's refund rule, transfer to another cohort, unpaid places that lapse."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.utils import timezone

from clubdesk.clock import day_text, long_day
from clubdesk.courses import checks, letter_kinds, letters, selectors
from clubdesk.courses import words as words_about
from clubdesk.courses.models import (
    TAKES_A_SEAT,
    WHY_WITHDRAWN,
    Booking,
    BookingEvent,
    Cohort,
    Happened,
    Place,
    PlaceState,
)
from clubdesk.courses.services.waitlist import fresh, locked, note, offer_free_seats, renew
from clubdesk.courses.states import PLACE
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge
from clubdesk.fees.selectors import TakenBack, all_taken_back
from clubdesk.mail.models import Message, MessageState
from clubdesk.money import nil
from clubdesk.verbs import NOBODY, verb


@verb(permission="courses.change_place", title="Withdraw")
def withdraw(*, booking: Booking, on: date, reason: str, by: User, places: Sequence[Place] | None = None) -> Booking:
    """The party, or some of it, gives its places or its waiting up.

    The course's refund rule says how much of each fee is credited; seats that come free are offered on.
    """
    course = locked(booking.course)
    booking = fresh(booking)
    leaving = _standing(booking, places)
    if not leaving:
        return booking
    if not reason.strip():
        raise Refused("Say why the place is withdrawn.")
    if on < booking.booked_on:
        raise Refused(f"They booked on {day_text(booking.booked_on)}; they cannot withdraw before.")
    _refuse_what_is_over(leaving, on)
    taken = _give_up(leaving, PlaceState.WITHDRAWN, on, f"{WHY_WITHDRAWN}: {reason.strip()}", by)
    renew(booking, on)
    who = selectors.names(place.person for place in leaving)
    money = words_about.money_in_words(taken)
    words = f"Withdrawn: {who}, {reason.strip()}{f'; {money}' if money else ''}."
    event = note(booking, Happened.WITHDRAWN, words, on=on, by=by, cohort=leaving[0].cohort, seats=len(leaving))
    rule = "By the course's refund rule " if taken.kept > taken.claimed else ""
    said = "\n\n".join(words_about.refund_for_the_family(taken, rule))
    letters.tell(event, letter_kinds.WITHDRAWN, {"children": who, "money": said})
    offer_free_seats(course=course, on=on, by=by)
    return fresh(booking)


@verb(permission="courses.change_place", title="Withdraw this place")
def withdraw_place(*, place: Place, on: date, reason: str, by: User) -> Place:
    """One of a party gives the place up."""
    withdraw(booking=place.booking, places=[place], on=on, reason=reason, by=by)
    return Place.objects.select_related("person", "cohort__course", "charge", "booking").get(pk=place.pk)


def _standing(booking: Booking, places: Sequence[Place] | None) -> list[Place]:
    chosen = {place.pk for place in places} if places is not None else None
    standing = PLACE.before(PlaceState.WITHDRAWN)
    rows = [place for place in selectors.places_of(booking) if place.state in standing]
    return [place for place in rows if chosen is None or place.pk in chosen]


def _refuse_what_is_over(places: Sequence[Place], on: date) -> None:
    for place in places:
        if hasattr(place, "certificate"):
            raise Refused(f"{place.person} has completed {place.cohort}; the place stays as it is.")
        if place.cohort and place.cohort.last_session < on:
            raise Refused(f"{place.cohort} is over; the place of {place.person} stays as it is.")


def _give_up(
    places: Sequence[Place], state: PlaceState, on: date, reason: str, by: User, by_rule: bool = True
) -> TakenBack:
    """End the places; returns what taking their fees back came to."""
    charging.lock_charges(place.charge for place in places if place.charge)
    taken = []
    for place in places:
        if place.charge:
            keep = selectors.kept_of(place, on) if by_rule else nil()
            taken.append(charging.take_back(charge=place.charge, on=on, reason=reason, by=by, keep=keep))
        place.state, place.ended_on = state, on
        place.save()
    return all_taken_back(taken)


@verb(permission="courses.change_place", title="Transfer to another cohort")
def transfer(
    *,
    booking: Booking,
    cohort: Cohort,
    on: date,
    reason: str,
    by: User,
    places: Sequence[Place] | None = None,
) -> Booking:
    """The party, or some of it, moves to another cohort of the course. The money goes with it.

    A fee that still waits in Fees in advance becomes income when the new cohort starts. One that is income
    already is credited and charged again, so that it waits once more; where the department was asked for a voucher
    that pays it, that cannot be and is refused. Also refused: a cohort that is full, over, or for older people, and a
    place of a cohort that is over or completed. The days to pay begin anew.
    """
    course = locked(booking.course)
    booking = fresh(booking)
    moving = [place for place in _standing(booking, places) if place.state == PlaceState.HELD]
    cohort = Cohort.objects.select_related("course").get(pk=cohort.pk)
    if not moving:
        raise Refused(f"Nobody of {booking.household} holds a place that could be transferred.")
    moving = [place for place in moving if place.cohort_id != cohort.pk]
    if not moving:
        raise Refused(f"They are in {cohort} already; choose another.")
    if not reason.strip():
        raise Refused("Say why the place is transferred.")
    _refuse_what_is_over(moving, on)
    _refuse_unfit(moving, booking, cohort, on)
    left = moving[0].cohort
    assert left is not None
    charges = charging.lock_charges(place.charge for place in moving if place.charge)
    for place in moving:
        assert place.charge_id is not None
        place.charge = _charge_moved(place, charges[place.charge_id], cohort, on, by)
        place.cohort, place.free_to_leave_until = cohort, None
        place.save()
    if course.pay_days is not None:
        booking.pay_by, booking.reminded_on = on + timedelta(days=course.pay_days), None
    renew(booking, on)
    who = selectors.names(place.person for place in moving)
    words = f"Transferred from {left.name} to {cohort.name}: {who}, {reason.strip()}."
    event = note(booking, Happened.TRANSFERRED, words, on=on, by=by, cohort=cohort, seats=len(moving))
    said = {"children": who, "old_dates": left.name, "dates": cohort.name}
    letters.tell(event, letter_kinds.TRANSFERRED, said)
    offer_free_seats(course=course, on=on, by=by)
    return fresh(booking)


def _refuse_unfit(moving: Sequence[Place], booking: Booking, cohort: Cohort, on: date) -> None:
    if cohort.course_id != booking.course_id:
        raise Refused("Choose a cohort of the same course.")
    if cohort.cancelled_on or cohort.last_session < on:
        raise Refused(f"{cohort} is over or was cancelled; choose a later one.")
    free = selectors.seats_left(cohort)
    if free < len(moving):
        raise Refused(f"{cohort} has {max(free, 0)} seats left, and {len(moving)} would move.")
    taken = set(cohort.places.filter(state__in=TAKES_A_SEAT).values_list("person", flat=True))
    for place in moving:
        if place.person_id in taken:
            raise Refused(f"{place.person} is in {cohort} already; choose another.")
        if not checks.is_old_enough(place.person, cohort):
            raise Refused(f"{checks.too_young(place.person, cohort)}.")


def _charge_moved(place: Place, charge: Charge, cohort: Cohort, on: date, by: User) -> Charge:
    named = f"{cohort}, {place.person}"[:150]
    if charge.waits and charge.recognised_on is None:
        return charging.move_start(charge=charge, starts_on=cohort.first_session, description=named)
    return charging.charge_again(
        charge=charge,
        starts_on=cohort.first_session,
        description=named,
        on=on,
        reason=f"transferred to {cohort.name}",
        by=by,
    )


@verb(permission="courses.change_place", title="Give more time to pay")
def give_more_time(*, booking: Booking, pay_by: date, on: date, reason: str, by: User) -> Booking:
    """The family may pay later, and is told; the places do not lapse before."""
    locked(booking.course)
    booking = fresh(booking)
    if booking.pay_by is None:
        raise Refused("This booking has no places that could lapse; there is no day to put off.")
    if not reason.strip():
        raise Refused("Say why the family has more time.")
    if booking.pay_by == pay_by:
        return booking
    if pay_by < on:
        raise Refused("Choose today or a later day.")
    booking.pay_by, booking.reminded_on = pay_by, None
    booking.save(update_fields=["pay_by", "reminded_on"])
    event = note(booking, Happened.CHANGED, f"May pay until {day_text(pay_by)}: {reason.strip()}.", on=on, by=by)
    letters.tell(event, letter_kinds.MORE_TIME, {"pay_by": long_day(pay_by)})
    return booking


def remind_unpaid(*, on: date, by: User) -> list[Booking]:
    """Remind each family once whose unpaid places lapse soon; it has the course's days after that at least.

    Who has paid since a reminder is reminded anew where the fee opens again.
    """
    owing = list(selectors.unpaid_bookings(on))
    Booking.objects.filter(reminded_on__isnull=False).exclude(pk__in=[each.pk for each in owing]).update(
        reminded_on=None
    )
    soon = [booking for booking in owing if booking.reminded_on is None and _is_soon(booking, on)]
    return [booking for booking in soon if remind_by_letter(booking=booking, on=on, by=by)]


def _is_soon(booking: Booking, on: date) -> bool:
    return booking.pay_by is not None and on >= booking.pay_by - timedelta(days=booking.course.reminder_days)


@verb(permission=NOBODY, title="Remind by letter")
def remind_by_letter(*, booking: Booking, on: date, by: User) -> bool:
    """Write to a family whose unpaid places lapse soon; False where that is not so any more."""
    course = locked(booking.course)
    booking = fresh(booking)
    booking.course = course
    if not _is_soon(booking, on) or booking.reminded_on is not None:
        return False
    event = _remind(booking, on, by, "Reminded by letter that the fee is not paid")
    held = [place for place in selectors.places_of(booking) if place.state == PlaceState.HELD]
    letters.tell(event, letter_kinds.REMINDER, {"unpaid": words_about.unpaid_in_words(held)})
    return True


@verb(permission="courses.change_place", title="Reminded by phone")
def remind_by_phone(*, booking: Booking, on: date, by: User) -> Booking:
    """Somebody has told the family that the fee is not paid; for families without e-mail."""
    locked(booking.course)
    booking = fresh(booking)
    if booking.pay_by is None:
        raise Refused("The places of this booking do not lapse; there is nothing to remind of.")
    if booking.reminded_on == on:
        return booking
    _remind(booking, on, by, "Reminded by phone that the fee is not paid")
    return booking


def _remind(booking: Booking, on: date, by: User, words: str) -> BookingEvent:
    assert booking.pay_by is not None
    booking.reminded_on = on
    booking.pay_by = max(booking.pay_by, on + timedelta(days=booking.course.reminder_days))
    booking.save(update_fields=["reminded_on", "pay_by"])
    return note(booking, Happened.REMINDED, f"{words}; it may be paid until {day_text(booking.pay_by)}.", on=on, by=by)


def lapse_unpaid(*, on: date, by: User) -> list[Booking]:
    """End each unpaid place whose day to pay has passed after a reminder that went out; its seat is offered on."""
    due = selectors.unpaid_bookings(on).filter(reminded_on__isnull=False, pay_by__lt=on)
    over = [booking for booking in due if _has_had_its_days(booking, on)]
    return [booking for booking in over if lapse_unpaid_booking(booking=booking, on=on, by=by)]


@verb(permission=NOBODY, title="Let unpaid places lapse")
def lapse_unpaid_booking(*, booking: Booking, on: date, by: User) -> bool:
    """End a party's places that are still unpaid after its day to pay; False where none is."""
    course = locked(booking.course)
    booking = fresh(booking)
    held = [place for place in selectors.places_of(booking) if place.state == PlaceState.HELD]
    charging.lock_charges(place.charge for place in held if place.charge)
    owing = set(selectors.unpaid(on).filter(place__in=held).values_list("place", flat=True))
    unpaid = [place for place in held if place.pk in owing]
    if not unpaid or booking.pay_by is None or booking.pay_by >= on:
        return False
    taken = _give_up(unpaid, PlaceState.LAPSED, on, "place lapsed unpaid", by, by_rule=False)
    renew(booking, on)
    who = selectors.names(place.person for place in unpaid)
    words = f"Lapsed unpaid after the reminder: {who}."
    event = note(booking, Happened.LAPSED, words, on=on, by=by, cohort=unpaid[0].cohort, seats=len(unpaid))
    said = "\n\n".join(words_about.refund_for_the_family(taken))
    letters.tell(event, letter_kinds.PLACE_LAPSED, {"children": who, "money": said})
    offer_free_seats(course=course, on=on, by=by)
    return True


def _has_had_its_days(booking: Booking, on: date) -> bool:
    """The last reminder was by phone, or its letter was accepted by the mail server the course's days ago."""
    event = booking.events.filter(kind=Happened.REMINDED).latest("pk")
    letter = Message.objects.filter(about=letters.about(event)).first()
    if letter is None:
        return True
    if letter.state != MessageState.SENT or letter.sent_at is None:
        return False
    return timezone.localdate(letter.sent_at) + timedelta(days=booking.course.reminder_days) < on
