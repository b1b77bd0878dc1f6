"""A withdrawal undone: the family takes its place up again, where nobody else has it by then."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk.courses import letter_kinds, letters, selectors
from clubdesk.courses.models import WHY_WITHDRAWN, Booking, Cohort, Happened, Place, PlaceState
from clubdesk.courses.services.groups import was_swapped
from clubdesk.courses.services.waitlist import fresh, give_seats, locked, note, offer_free_seats, renew
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.verbs import verb


@verb(permission="courses.change_place", title="Undo the withdrawal")
def undo_withdrawal(*, place: Place, on: date, by: User) -> Place:
    """The person has the place again, or the turn in the waitlist; the fee is charged as it was, with its vouchers.

    A seat that was offered on is taken back from the family that has not accepted it yet, which keeps its turn and is
    told. Raises Refused where the seat is somebody's by now, for a cohort that is over or was cancelled, and for any
    withdrawal but the person's last.
    """
    course = locked(place.booking.course)
    left = Place.objects.select_related("person", "cohort__course", "charge__price", "booking").get(pk=place.pk)
    booking = fresh(left.booking)
    again = selectors.standing_place(left.person, course, on)
    if again and again.booking_id == booking.pk:
        return again
    if again or left.state != PlaceState.WITHDRAWN:
        where = f"is in {again.cohort or course} already" if again else "has not withdrawn from this place"
        raise Refused(f"{left.person} {where}; there is nothing to undo.")
    if asked_since(left):
        raise Refused(f"{left.person} has asked for {course} again since; undo that withdrawal, or book anew.")
    if was_swapped(left):
        raise Refused(f"Another of the family comes in the place of {left.person}; let them change again instead.")
    if left.cohort and (left.cohort.cancelled_on or left.cohort.last_session < on):
        raise Refused(f"{left.cohort} is over or was cancelled; book a later one.")
    back = Place.objects.create(booking=booking, course=course, person=left.person, recorded_by=by)
    if left.cohort and left.charge_id:
        _take_up(left, back, booking, on, by)
    else:
        renew(booking, on)
        words = f"Withdrawal undone: {left.person.given_name} waits again, in the old order."
        event = note(booking, Happened.RETURNED, words, on=on, by=by)
        letters.tell(event, letter_kinds.WAITS_AGAIN, {"child": left.person.given_name})
    offer_free_seats(course=course, on=on, by=by)
    return Place.objects.select_related("person", "cohort__course", "charge", "booking").get(pk=back.pk)


def asked_since(place: Place) -> bool:
    """Whether the person has asked for the course again since the place: only the last withdrawal can be undone."""
    return Place.objects.filter(course=place.course_id, person=place.person_id, pk__gt=place.pk).exists()


def _take_up(left: Place, back: Place, booking: Booking, on: date, by: User) -> None:
    """The seat and the fee as they were before."""
    cohort, charge = left.cohort, left.charge
    assert cohort is not None, "a place that was held is in a cohort"
    assert charge is not None, "and was charged"
    charging.lock_charges([charge])
    if selectors.seats_left(cohort) < 1:
        _take_offer_back(left, cohort, on, by)
    before = [each for each in charge.credits.filter(cancelled_on=None) if not each.reason.startswith(WHY_WITHDRAWN)]
    charging.call_off(charge=charge, on=on, reason=f"{WHY_WITHDRAWN}, and that undone", by=by)
    back.offered_price = charge.price
    give_seats(booking, [back], cohort, on, by)
    assert back.charge is not None
    for credit in before:
        charging.credit_charge(charge=back.charge, amount=credit.amount, on=on, reason=credit.reason, by=by)
    charging.set_again(before=charge, after=back.charge, reason=WHY_WITHDRAWN, on=on, by=by)
    who = left.person.given_name
    event = note(booking, Happened.CHANGED, f"Withdrawal undone: {who} in {cohort.name}.", on=on, by=by, cohort=cohort)
    letters.tell(event, letter_kinds.PLACE_AGAIN, {"child": who, "dates": cohort.name})


def _take_offer_back(left: Place, cohort: Cohort, on: date, by: User) -> None:
    """The last party that was offered a seat of the cohort since the withdrawal waits again, at its old turn."""
    since = left.booking.events.filter(kind=Happened.WITHDRAWN, cohort=cohort).last()
    offered = selectors.offered_since(cohort, since) if since else None
    if offered is None:
        raise Refused(f"The place of {left.person} in {cohort} is somebody else’s by now; book another.")
    party = fresh(offered)
    party.places.filter(state=PlaceState.OFFERED).update(state=PlaceState.WAITING, cohort=None, offered_price=None)
    renew(party, on)
    words = f"The offer of {cohort.name} was withdrawn, since a withdrawal was undone. They wait in their old order."
    event = note(party, Happened.RETURNED, words, on=on, by=by, cohort=cohort, seats=party.seats)
    letters.tell(event, letter_kinds.OFFER_WITHDRAWN, {"dates": str(cohort)})
