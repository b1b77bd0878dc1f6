"""A child that belongs to another family now: what it waits for and what is to come goes along."""

from datetime import date, timedelta

from django.contrib.auth.models import User

from clubdesk.courses import checks, coming, letter_kinds, letters, selectors
from clubdesk.courses.models import Booking, Cohort, Course, Happened, Place, PlaceState
from clubdesk.courses.services.booking import arrive
from clubdesk.courses.services.groups import price_in_place_of
from clubdesk.courses.services.waitlist import fresh, locked, move_in_queue, note, offer_in, renew
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.fees.letters import tell_along
from clubdesk.fees.models import Charge, Voucher
from clubdesk.fees.selectors import carried_for, open_amount
from clubdesk.money import nil
from clubdesk.roll.models import Household, Person
from clubdesk.roll.selectors import belongs_to, refuse_erased
from clubdesk.verbs import verb

WHY_MOVED = "another family pays"


@verb(permission="courses.change_place", title="This child now belongs to…")
def move_person(*, person: Person, household: Household, on: date, by: User, takes_over: bool = False) -> Person:
    """The person belongs to another family from now on. What is past stays where it was, and so does who was charged.

    Where the person waits, or is offered a place, it goes along in the old turn. A place in a course to come goes along
    where it is paid, or where the new family `takes_over` its fee: it is charged the whole, and what was paid of it is
    the old family's credit. Otherwise it stays with the family that pays for it. A voucher that waits for the child's
    next fee is the child's, and goes along; it pays a fee that is taken over where its scheme pays such a one. Both
    families are told. Raises Refused for whoever belongs to one of the two, while a voucher or agreed parts pay what
    would be taken over, and for who is too young for a place that would go along, until a draw check is recorded.
    """
    courses = Course.objects.filter(places__in=coming.of_own_family(person, on)).order_by("pk")
    for pk in courses.values_list("pk", flat=True).distinct():
        locked(Course(pk=pk))
    charging.queue_all((person.household_id, household.pk))
    child = Person.objects.select_for_update(of=("self",)).select_related("household").get(pk=person.pk)
    if child.household_id == household.pk:
        return child
    refuse_erased(child)
    if belongs_to(by, child.household) or belongs_to(by, household):
        raise Refused("Somebody else must do this; nobody decides about the money of their own family.")
    along = list(coming.of_own_family(child, on))
    carried = list(carried_for(child.household, [child]))
    charges = [place.charge for place in along if place.charge]
    locked_now = charging.lock_charges([*charges, *carried], also=[household.pk])
    child.household = Household.objects.select_related("party").get(pk=household.pk)
    child.save(update_fields=["household"])
    waiting = [locked_now[each.pk] for each in carried]
    vouchers = charging.carry_along(carried=waiting, household=child.household, on=on, by=by)
    for place in along:
        owed = place.charge is not None and open_amount(place.charge) > nil()
        if takes_over or not owed:
            _goes_along(place, child, takes_over and owed, on, by)
    for voucher in Voucher.objects.filter(pk__in=[each.pk for each in vouchers]).order_by("pk"):
        tell_along(voucher)
    return child


def _goes_along(left: Place, child: Person, takes_over: bool, on: date, by: User) -> None:
    """The place ends in the booking of the one family and begins in one of the other, in the same turn."""
    booking, course = fresh(left.booking), left.course
    if takes_over and selectors.paid_in_parts([left], on):
        raise Refused(f"{booking.household} pays this fee in parts. End the arrangement first, or let it pay on.")
    if left.cohort and not checks.is_old_enough(child, left.cohort):
        raise Refused(f"{checks.too_young(child, left.cohort)}. Record a draw check first; then the place goes along.")
    state, cohort, charge, lapses_on = left.state, left.cohort, left.charge, booking.offer_lapses_on
    pay_by, behind = booking.pay_by, selectors.waitlist(course).filter(rank__gt=booking.rank).first()
    left.state, left.ended_on = PlaceState.WITHDRAWN, on
    if not takes_over:
        left.charge = None
    left.save()
    renew(booking, on)
    own, _ = arrive(course, [child], None, on, by, None)
    own.cannot_make.set(booking.cannot_make.all())
    place = own.places.get()
    if state == PlaceState.WAITING:
        why = f"goes along with {child.given_name} from booking {booking.number}, in its turn"
        own = move_in_queue(booking=own, before=behind, on=on, reason=why, by=by)
    elif state == PlaceState.OFFERED:
        place.cohort, place.offered_price, place.state = cohort, left.offered_price, PlaceState.OFFERED
        own.offer_lapses_on = lapses_on
    else:
        assert cohort is not None, "a place that is held is in a cohort"
        place.charge = _taken_over(left, child, cohort, on, by) if takes_over else charge
        place.cohort, place.state, place.free_to_leave_until = cohort, PlaceState.HELD, left.free_to_leave_until
        own.pay_by = on + timedelta(days=course.pay_days) if takes_over and course.pay_days is not None else pay_by
    place.save()
    renew(own, on)
    _tell_both(booking, own, place, on, by)
    offer_in(course, on, by)


def _taken_over(left: Place, child: Person, cohort: Cohort, on: date, by: User) -> Charge:
    assert left.charge is not None, "a place that is held was charged"
    return charging.charge_instead(
        charge=left.charge,
        household=child.household,
        person=child,
        price=price_in_place_of(left.charge, child, cohort),
        description=f"{cohort}, {child}"[:150],
        on=on,
        starts_on=cohort.first_session,
        reason=WHY_MOVED,
        by=by,
    )


def _tell_both(before: Booking, now: Booking, place: Place, on: date, by: User) -> None:
    """Neither family hears who the other is."""
    who, cohort = place.person.given_name, place.cohort
    where = "the turn on the waitlist"
    if cohort:
        where = f"the {'place' if place.state == PlaceState.HELD else 'offer of a place'} in {cohort.name}"
    words = f"{who} belongs to another family now; {where} goes along, as booking {now.number}."
    gone = note(before, Happened.CHANGED, words, on=on, by=by, cohort=cohort)
    letters.tell(gone, letter_kinds.GOES_ALONG, {"child": who, "what": where})
    words = f"Goes along with {who} from booking {before.number}."
    came = note(now, Happened.CHANGED, words, on=on, by=by, cohort=cohort, seats=1)
    letters.tell(came, letter_kinds.COMES_ALONG, {"child": who, "what": where})
