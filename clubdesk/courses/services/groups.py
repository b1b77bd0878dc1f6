"""Who a group is: another of the family waits with it, or comes in the place of one."""

from datetime import date, timedelta

from django.contrib.auth.models import User

from clubdesk.courses import letter_kinds, letters, selectors
from clubdesk.courses.models import (
    MOST_IN_A_PARTY,
    STANDING,
    WHY_SWAPPED,
    Booking,
    BookingEvent,
    Cohort,
    Course,
    Happened,
    Place,
    PlaceState,
)
from clubdesk.courses.services.booking import refuse_too_young, refuse_who_stands
from clubdesk.courses.services.waitlist import fresh, locked, note, renew
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, FeePrice
from clubdesk.money import shown
from clubdesk.roll.models import Consent, Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.verbs import verb


@verb(permission="courses.add_place", title="Add one to the group")
def add_to_group(*, booking: Booking, person: Person, on: date, by: User) -> Booking:
    """Another of the family waits with those who wait already: the group wants one place more and keeps its turn.

    Raises Refused where the booking does not wait any more, for somebody of another family, who has a place or waits
    already or is too young for each cohort that the group can make, and beyond the most that a party may be.
    """
    course = locked(booking.course)
    booking, person = fresh(booking), Person.objects.get(pk=person.pk)
    if booking.places.filter(person=person, state=PlaceState.WAITING).exists():
        return booking
    if booking.state != PlaceState.WAITING:
        raise Refused(
            f"Only a booking that waits takes somebody in ({booking.get_state_display().lower()}). "
            f"Book a place for {person.given_name} alone."
        )
    _refuse_who_cannot_come(person, booking, course, on)
    if booking.places.filter(state__in=STANDING).count() >= MOST_IN_A_PARTY:
        raise Refused(f"A group is at most {MOST_IN_A_PARTY} people; book a place for {person.given_name} alone.")
    can_make = selectors.cohorts_to_come(course, on).exclude(pk__in=booking.cannot_make.all())
    refuse_too_young(person, list(can_make))
    Place.objects.create(booking=booking, course=course, person=person, recorded_by=by)
    renew(booking, on)
    words = f"{person.given_name} waits with the group, which keeps its turn and wants {booking.seats} places now."
    event = note(booking, Happened.CHANGED, words, on=on, by=by, seats=booking.seats)
    letters.tell(event, letter_kinds.ONE_MORE, {"child": person.given_name, "places": str(booking.seats)})
    return fresh(booking)


def _refuse_who_cannot_come(person: Person, booking: Booking, course: Course, on: date) -> None:
    if person.household_id != booking.household_id:
        raise Refused(f"{person} is not of {booking.household}; a booking is of one family, which pays.")
    refuse_erased(person)
    refuse_who_stands(person, course, on)


@verb(permission="courses.change_place", title="Somebody else comes")
def swap_person(*, place: Place, person: Person, on: date, reason: str, by: User, agreed_by: str = "") -> Place:
    """Another of the family comes in the place of one, before the course begins; returns the new person's place.

    The fee is the new person's: at the price as it was charged, or another where adults pay otherwise. What had paid it
    pays it again. `agreed_by` says who agreed for the new person to what the course asks, where it asks something.
    Raises Refused once the cohort has begun, for a person who cannot come, and while a voucher pays the fee or the
    family pays it in parts.
    """
    course = locked(place.booking.course)
    left = Place.objects.select_related("person", "cohort__course", "charge__price", "booking").get(pk=place.pk)
    booking, person = fresh(left.booking), Person.objects.get(pk=person.pk)
    if was_swapped(left):
        came = booking.places.filter(person=person, cohort=left.cohort, state=PlaceState.HELD).first()
        if came:
            return came
    cohort, charge = _held_before_it_begins(left, on)
    if not reason.strip():
        raise Refused("Say why somebody else comes.")
    _refuse_who_cannot_come(person, booking, course, on)
    refuse_too_young(person, [cohort])
    if course.consent_text and not agreed_by.strip():
        raise Refused(f"Ask the family what the course asks of {person.given_name}, and write down who agreed.")
    back = _give_over(left, person, cohort, charge, on, by)
    if course.consent_text:
        Consent.objects.create(
            household=booking.household, given_by=agreed_by.strip()[:100], wording=course.consent_text
        )
    if course.pay_days is not None:
        booking.pay_by, booking.reminded_on = on + timedelta(days=course.pay_days), None
    renew(booking, on)
    _tell_of_it(left, back, cohort, on, reason.strip(), by)
    return back


def was_swapped(place: Place) -> bool:
    """Whether the place ended since another of the family comes in it."""
    return place.state == PlaceState.WITHDRAWN and bool(
        place.charge and place.charge.credits.filter(reason=WHY_SWAPPED).exists()
    )


def price_in_place_of(charge: Charge, person: Person, cohort: Cohort) -> FeePrice:
    """What the place costs this person: the price as it was charged, or another where adults pay otherwise."""
    price = selectors.price_for(person, cohort)
    return charge.price if charge.price and charge.price.item_id == price.item_id else price


def _held_before_it_begins(left: Place, on: date) -> tuple[Cohort, Charge]:
    if left.state != PlaceState.HELD or left.cohort is None or left.charge is None:
        raise Refused(f"{left.person} holds no place in which somebody else could come.")
    if left.cohort.first_session <= on or left.attendances.exists():
        raise Refused(f"{left.cohort} has begun; withdraw {left.person.given_name}, and book a later one.")
    if selectors.paid_in_parts([left], on):
        raise Refused("The family pays this fee in parts. End the arrangement first; agree on parts again afterwards.")
    return left.cohort, left.charge


def _give_over(left: Place, person: Person, cohort: Cohort, charge: Charge, on: date, by: User) -> Place:
    """The place of the one ends as that of the other begins, so that nobody else is offered the seat."""
    charge_now = charging.charge_instead(
        charge=charge,
        person=person,
        price=price_in_place_of(charge, person, cohort),
        description=f"{cohort}, {person}"[:150],
        on=on,
        starts_on=cohort.first_session,
        reason=WHY_SWAPPED,
        by=by,
    )
    left.state, left.ended_on = PlaceState.WITHDRAWN, on
    left.save()
    back = Place(booking=left.booking, course=left.course, person=person, recorded_by=by)
    back.save()
    back.cohort, back.charge, back.state = cohort, charge_now, PlaceState.HELD
    back.free_to_leave_until = left.free_to_leave_until
    back.save()
    return back


def _tell_of_it(left: Place, back: Place, cohort: Cohort, on: date, reason: str, by: User) -> BookingEvent:
    assert left.charge is not None
    assert back.charge is not None
    gone, comes = left.person.given_name, back.person.given_name
    words = f"{comes} comes to {cohort.name} in the place of {gone}, {reason}."
    event = note(fresh(left.booking), Happened.CHANGED, words, on=on, by=by, cohort=cohort, seats=1)
    fee = f"The fee of {shown(left.charge.amount)} stays as it is."
    if back.charge.amount != left.charge.amount:
        fee = f"The fee is {shown(back.charge.amount)}, and was {shown(left.charge.amount)}."
    said = {"child": comes, "before": gone, "dates": cohort.name, "fee": fee}
    letters.tell(event, letter_kinds.SOMEBODY_ELSE, said)
    return event
