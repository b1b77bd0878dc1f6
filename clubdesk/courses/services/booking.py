"""Booking: a party takes places at once where they are free, and joins the waitlist where not."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.db.models import Max

from clubdesk import clock
from clubdesk.courses import checks, letter_kinds, letters, selectors
from clubdesk.courses.models import (
    MOST_IN_A_PARTY,
    RANK_STEP,
    Booking,
    BookingEvent,
    Cohort,
    Course,
    Happened,
    Place,
    PlaceState,
    ReachCheck,
)
from clubdesk.courses.services.waitlist import (
    ahead_of,
    day_of_offers,
    fresh,
    give_seats,
    locked,
    move_in_queue,
    note,
    note_passes,
    offer,
    offer_free_seats,
    offer_in,
    renew,
)
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.ledger import services as ledger
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.selectors import guardian_to_write_to, refuse_erased
from clubdesk.roll.services import add_household, add_person, one_new_family_at_a_time
from clubdesk.verbs import verb


@dataclass(frozen=True)
class Named:
    """Somebody named who asks for a place, of whom the roll may know or not."""

    given_name: str
    family_name: str
    birth_date: date


@verb(permission="courses.add_place", title="Book a course together")
def book_party(
    *,
    course: Course,
    people: Sequence[Person],
    by: User,
    on: date,
    cohorts: Sequence[Cohort] | None = None,
    guardian: Guardian | None = None,
    by_the_family: bool = False,
    hold_only: bool = False,
    payer: Household | None = None,
    key: uuid.UUID | None = None,
) -> Booking:
    """Book places for people of one household who want to do the course together.

    Where another family pays, as for a child of two homes, it is the `payer`: the booking, fees and letters are its.
    `cohorts` are those they can make (all to come by default): they get places in the first with room for all
    of them, and each fee is charged; where none has room they wait, in order of arrival, and so they do while one of
    them is too young and no draw check is recorded. With `hold_only` the places are offered instead, and nothing is
    owed until the family accepts. Raises Refused for a cohort that is over, for people of several households, for
    somebody who has a place or waits already, and for a cohort without a price; who books `by_the_family` then waits.
    """
    course = locked(course)
    if found := ledger.written(Booking, key):
        return found
    people = _people(people, payer)
    charging.queue_all({(payer or people[0].household).pk, *(person.household_id for person in people)})
    to_come = list(selectors.cohorts_to_come(course, on))
    wanted = _bookable(cohorts, course, on) if cohorts is not None else to_come
    for person in people:
        refuse_who_stands(person, course, on)
    offer_in(course, on, by)
    booking, event = arrive(course, people, guardian, on, by, key, payer)
    if cohorts is not None and (cannot := [cohort for cohort in to_come if cohort not in wanted]):
        booking.cannot_make.set(cannot)
    for cohort in wanted:
        cohort.course = course
        free = selectors.seats_left(cohort)
        if by_the_family and not selectors.with_price([cohort]):
            continue
        if selectors.fitting(cohort, free).filter(pk=booking.pk).exists():
            if hold_only:
                offer(booking, cohort, free, day_of_offers(course, on), by, letter_kinds.HELD_FOR)
                return fresh(booking)
            _seat(booking, cohort, free, on, by)
            break
    letters.tell(event, letter_kinds.BOOKED)
    return booking


def refuse_too_young(person: Person, wanted: Sequence[Cohort]) -> None:
    """Raise Refused for who is too young for each of the cohorts, and has no draw check."""
    if wanted and not any(checks.is_old_enough(person, each) for each in wanted):
        sentence = checks.too_young(person, wanted[0])
        raise Refused(f"{sentence}. Record a draw check on the page of {person}, or choose a later cohort.")


def _people(people: Sequence[Person], payer: Household | None) -> list[Person]:
    found = list(Person.objects.select_related("household__party").filter(pk__in=[each.pk for each in people]))
    if not found:
        raise Refused("Say who wants to do the course.")
    if len(found) > MOST_IN_A_PARTY:
        raise Refused(f"A booking is for at most {MOST_IN_A_PARTY} people; book the others on their own.")
    if payer is None and len({person.household_id for person in found}) > 1:
        raise Refused("A booking is of one family, which pays; book each family on its own.")
    for person in found:
        refuse_erased(person)
    return sorted(found, key=lambda person: person.pk)


def _bookable(cohorts: Sequence[Cohort], course: Course, on: date) -> list[Cohort]:
    open_to_hand = {cohort.pk: cohort for cohort in selectors.cohorts_not_over(on).filter(course=course)}
    for cohort in cohorts:
        if cohort.pk not in open_to_hand:
            raise Refused(f"{cohort} is over or was cancelled; choose a later one.")
    if not cohorts:
        raise Refused("Choose at least one cohort.")
    chosen = {cohort.pk for cohort in cohorts}
    return [cohort for pk, cohort in open_to_hand.items() if pk in chosen]


def refuse_who_stands(person: Person, course: Course, on: date) -> None:
    """Raise Refused for who has a place in the course, is offered one or waits for it."""
    if place := selectors.standing_place(person, course, on):
        where = place.cohort or f"the waitlist of {course}"
        raise Refused(f"{person} is in {where} already: {place.get_state_display().lower()}.")


def arrive(
    course: Course,
    people: list[Person],
    guardian: Guardian | None,
    on: date,
    by: User,
    key: uuid.UUID | None,
    payer: Household | None = None,
) -> tuple[Booking, BookingEvent]:
    """The party at the end of the queue, which is where everyone starts."""
    household = payer or people[0].household
    number = (course.bookings.aggregate(last=Max("number"))["last"] or 0) + 1
    booking = Booking.objects.create(
        key=key or uuid.uuid4(),
        course=course,
        household=household,
        guardian=guardian or guardian_to_write_to(household),
        booked_on=on,
        number=number,
        rank=number * RANK_STEP,
        seats=len(people),
        recorded_by=by,
    )
    Place.objects.bulk_create(Place(booking=booking, course=course, person=person, recorded_by=by) for person in people)
    words = f"Booked for {selectors.names(people)}: booking {number} of {course}."
    return booking, note(booking, Happened.BOOKED, words, on=on, by=by, seats=len(people))


def _seat(booking: Booking, cohort: Cohort, free: int, on: date, by: User) -> None:
    """Places at once: nobody in front of the party fits what is free."""
    note_passes(ahead_of(booking), booking, cohort, free, on, by)
    places = [place for place in selectors.places_of(booking) if place.state == PlaceState.WAITING]
    give_seats(booking, places, cohort, on, by)
    words = f"Given {booking.seats} place{'s' if booking.seats > 1 else ''} in {cohort.name}."
    note(booking, Happened.SEATED, words, on=on, by=by, cohort=cohort, seats=booking.seats)


@verb(permission="courses.change_place", title="Book apart")
def book_apart(*, booking: Booking, on: date, by: User) -> Booking:
    """The people of a waiting group are offered places one by one: each has a booking, in the turn of the group.

    Raises Refused for a party that does not wait; one that is apart already stays as it is.
    """
    course = locked(booking.course)
    booking = fresh(booking)
    if booking.state != PlaceState.WAITING:
        raise Refused(f"Only a group that waits can be booked apart ({booking.get_state_display().lower()}).")
    stays, *others = [place for place in selectors.places_of(booking) if place.state == PlaceState.WAITING]
    if not others:
        return booking
    behind = selectors.waitlist(course).filter(rank__gt=booking.rank).first()
    for place in others:
        place.state, place.ended_on = PlaceState.WITHDRAWN, on
        place.save()
    renew(booking, on)
    apart = [booking]
    for place in others:
        own, _ = arrive(course, [place.person], booking.guardian, on, by, None, booking.household)
        own.cannot_make.set(booking.cannot_make.all())
        why = f"booked apart from booking {booking.number}, in its turn"
        apart.append(move_in_queue(booking=own, before=behind, on=on, reason=why, by=by))
    who = selectors.names(place.person for place in [stays, *others])
    for each in apart:
        event = note(each, Happened.CHANGED, f"{who} are booked apart, in the turn of the group.", on=on, by=by)
        letters.tell(event, letter_kinds.BOOKED_APART, {"children": who})
    offer_in(course, on, by)
    return fresh(booking)


@verb(permission="courses.add_place", title="Book a course place")
def book_place(
    *,
    person: Person,
    cohort: Cohort,
    by: User,
    on: date,
    guardian: Guardian | None = None,
    key: uuid.UUID | None = None,
) -> Place:
    """Book one person into one cohort; where it is full the person waits for it, and for those set up later."""
    booking = book_party(
        course=cohort.course, people=[person], cohorts=[cohort], by=by, on=on, guardian=guardian, key=key
    )
    return Place.objects.select_related("person", "cohort__course", "charge", "booking").get(
        booking=booking, person=person
    )


@verb(permission="courses.add_place", title="Book a course")
def book_by_phone(
    *,
    cohorts: Sequence[Cohort],
    by: User,
    on: date,
    people: Sequence[Person | Named],
    guardian: str = "",
    phone: str = "",
    email: str = "",
    is_new: bool = False,
    key: uuid.UUID | None = None,
) -> Booking:
    """Book for people of the roll and for others, who come to their family on the roll; or for a new family.

    Raises Refused where somebody named is on the roll already, unless somebody looked and `is_new`, and for a new
    family without a guardian.
    """
    course = locked(cohorts[0].course)
    known = [each for each in people if isinstance(each, Person)]
    named = [each for each in people if isinstance(each, Named)]
    if not named:
        return book_party(course=course, people=known, cohorts=cohorts, by=by, on=on, key=key)
    one_new_family_at_a_time()
    if found := ledger.written(Booking, key):
        return found
    for each in named if not is_new else ():
        if same := _of_that_name(each):
            raise Refused(
                f"{same}, born that day, is on the roll already ({same.household}); choose them from the roll."
            )
    if known:
        household = known[0].household
    elif guardian.strip():
        household = add_household(
            name=f"{named[0].family_name} family"[:100], guardian=guardian, email=email, phone=phone
        )
    else:
        raise Refused("Choose somebody from the roll, or write down a new family with its guardian.")
    added = [
        add_person(
            household=household, given_name=each.given_name, family_name=each.family_name, birth_date=each.birth_date
        )
        for each in named
    ]
    return book_party(course=course, people=[*known, *added], cohorts=cohorts, by=by, on=on, key=key)


def _of_that_name(named: Named) -> Person | None:
    return Person.objects.filter(
        given_name__iexact=named.given_name, family_name__iexact=named.family_name, birth_date=named.birth_date
    ).first()


@verb(permission="courses.add_reachcheck", title="Record a draw check")
def record_reach_check(
    *, person: Person, checked_by: str, on: date, by: User, key: uuid.UUID | None = None
) -> ReachCheck:
    """Somebody has watched a young child draw; from now on the minimum age holds nobody back who waits with the child.

    What a draw check asks for is the club's own rule (common practice, no source).
    """
    courses = Course.objects.filter(places__person=person, places__state=PlaceState.WAITING).distinct()
    locked_courses = [locked(course) for course in courses.order_by("pk")]
    if found := ledger.written(ReachCheck, key):
        return found
    if on > clock.today():
        raise Refused("That day has not come yet; write down when the child was watched.")
    if not checked_by.strip():
        raise Refused("Write down who watched the child draw.")
    refuse_erased(person)
    document = ReachCheck.objects.create(
        key=key or uuid.uuid4(), person=person, checked_on=on, checked_by=checked_by.strip()[:100], recorded_by=by
    )
    for course in locked_courses:
        for booking in Booking.objects.filter(places__person=person, course=course, state=PlaceState.WAITING):
            words = f"A draw check of {person.given_name} by {document.checked_by} is recorded."
            note(booking, Happened.CHANGED, words, on=on, by=by)
        offer_free_seats(course=course, on=on, by=by)
    return document
