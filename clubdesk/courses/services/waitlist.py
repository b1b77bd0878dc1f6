"""The waitlist of a course: who is next, offers that hold seats, and every change of order with its reason."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db.models import Max

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.courses import checks, letter_kinds, letters, selectors
from clubdesk.courses.models import (
    RANK_STEP,
    Booking,
    BookingEvent,
    Cohort,
    Course,
    Happened,
    Place,
    PlaceState,
)
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.lettering import LetterKind
from clubdesk.verbs import NOBODY, verb


def locked(course: Course) -> Course:
    """One change at a time to a course's places and its waitlist."""
    rows = Course.objects.select_for_update(of=("self",), no_key=True)
    return rows.select_related("fee_item__income_account", "adult_fee_item__income_account").get(pk=course.pk)


def fresh(booking: Booking) -> Booking:
    """The booking as it stands now; read after the course's lock."""
    return Booking.objects.select_related("course", "household__party", "guardian").get(pk=booking.pk)


def note(
    booking: Booking,
    kind: Happened,
    words: str,
    *,
    on: date,
    by: User,
    cohort: Cohort | None = None,
    in_favour_of: Booking | None = None,
    rank_after: int | None = None,
    seats: int = 0,
) -> BookingEvent:
    """A line of the party's history."""
    return BookingEvent.objects.create(
        booking=booking,
        kind=kind,
        on=on,
        words=words[:300],
        cohort=cohort,
        in_favour_of=in_favour_of,
        rank_after=rank_after,
        seats=seats,
        recorded_by=by,
    )


def renew(booking: Booking, on: date) -> None:
    """Let the party's state and seats follow its places: whatever still asks for something comes first."""
    states = list(Place.objects.filter(booking=booking).order_by("pk").values_list("state", flat=True))
    asks = (PlaceState.OFFERED, PlaceState.WAITING, PlaceState.HELD)
    state = next((state for state in asks if state in states), None)
    if state is None:
        state, booking.ended_on = PlaceState(states[-1]), on
    else:
        booking.ended_on = None
    booking.state, booking.seats = state, states.count(state)
    if state != PlaceState.OFFERED:
        booking.offer_lapses_on = None
    if PlaceState.HELD not in states:
        booking.pay_by = booking.reminded_on = None
    booking.save()


def give_seats(booking: Booking, places: Sequence[Place], cohort: Cohort, on: date, by: User) -> None:
    """Give the party its places in the cohort: the household owes each fee, which is income from the first session.

    A voucher that paid a place in a cancelled cohort pays this one. Raises Refused while somebody needs a draw check.
    """
    checks.refuse_unchecked(places, cohort)
    carried = charging.lock_carried(booking.household, [place.person for place in places])
    for place in places:
        place.cohort = cohort
        place.charge = charging.charge_next(
            carried=carried,
            household=booking.household,
            person=place.person,
            price=place.offered_price or selectors.price_for(place.person, cohort),
            description=f"{cohort}, {place.person}"[:150],
            on=on,
            starts_on=cohort.first_session,
            by=by,
        )
        place.state = PlaceState.HELD
        place.save()
    if booking.course.pay_days is not None:
        booking.pay_by, booking.reminded_on = on + timedelta(days=booking.course.pay_days), None
    renew(booking, on)


def note_passes(ahead: Sequence[Booking], favoured: Booking, cohort: Cohort, free: int, on: date, by: User) -> None:
    """Each party that was passed over keeps its position, and its history says why."""
    reasons = selectors.why_passed(ahead, cohort, free)
    BookingEvent.objects.bulk_create(
        BookingEvent(
            booking=passed,
            kind=Happened.PASSED,
            on=on,
            words=f"Passed over for {cohort.name}, keeping the position: "
            f"{reasons.get(passed.pk, 'it has begun and is booked by hand only')}."[:300],
            cohort=cohort,
            in_favour_of=favoured,
            recorded_by=by,
        )
        for passed in ahead
    )


def ahead_of(booking: Booking) -> list[Booking]:
    """The parties that wait in front of it."""
    rows = selectors.waitlist(booking.course).filter(rank__lt=booking.rank).exclude(pk=booking.pk)
    return list(rows.prefetch_related("cannot_make"))


def day_of_offers(course: Course, on: date) -> date:
    """The day that an offer's days count from: today or `on`, and not before the last that the course's history knows.

    So nobody's days have run out before the letter is written, also where a server's clock is behind.
    """
    return max(on, clock.today(), selectors.last_day_noted(booking__course=course) or on)


@verb(permission=NOBODY, title="Offer free seats")
def offer_free_seats(*, course: Course, on: date, by: User) -> list[Booking]:
    """Offer each free seat of the coming cohorts to the first party that fits, for the course's number of days.

    A cohort without a price is left out.
    """
    return offer_in(locked(course), on, by)


def offer_in(course: Course, on: date, by: User) -> list[Booking]:
    """The same in a course that is locked already."""
    today, offered = max(on, clock.today()), []
    coming = [cohort for cohort in selectors.cohorts_to_come(course, today) if cohort.capacity > cohort.taken]
    for cohort in coming:
        cohort.course = course
    for cohort in selectors.with_price(coming):
        free = cohort.capacity - cohort.taken
        while free > 0 and (booking := selectors.fitting(cohort, free).first()):
            offer(booking, cohort, free, day_of_offers(course, on), by)
            free -= booking.seats
            offered.append(booking)
    return offered


def offer(
    booking: Booking,
    cohort: Cohort,
    free: int,
    on: date,
    by: User,
    kind: LetterKind = letter_kinds.OFFERED,
) -> None:
    """Hold the cohort's seats for the party at the price of now until the offer lapses, and tell it."""
    booking = fresh(booking)
    note_passes(ahead_of(booking), booking, cohort, free, on, by)
    waiting = list(Place.objects.filter(booking=booking, state=PlaceState.WAITING).select_related("person"))
    checks.refuse_unchecked(waiting, cohort)
    for place in waiting:
        place.state, place.cohort = PlaceState.OFFERED, cohort
        place.offered_price = selectors.price_for(place.person, cohort)
        place.save()
    booking.offer_lapses_on = selectors.lapses_on(cohort, on)
    renew(booking, on)
    places = f"{booking.seats} place{'s' if booking.seats > 1 else ''}"
    words = f"Offered {places} in {cohort.name} until {day_text(booking.offer_lapses_on)}."
    event = note(booking, Happened.OFFERED, words, on=on, by=by, cohort=cohort, seats=booking.seats)
    said = {"answer_by": long_day(booking.offer_lapses_on, weekday=True), "dates": cohort.name}
    letters.tell(event, kind, said)


@verb(permission="courses.change_place", title="Accept the offer")
def accept_offer(*, booking: Booking, on: date, by: User) -> Booking:
    """Take the places that are offered: their fees are charged."""
    locked(booking.course)
    booking = fresh(booking)
    places = [place for place in selectors.places_of(booking) if place.state == PlaceState.OFFERED]
    if not places and booking.state == PlaceState.HELD:
        return booking
    if not places or booking.offer_lapses_on is None:
        raise Refused(f"{booking.household} has no offer open ({booking.get_state_display().lower()}).")
    if on > booking.offer_lapses_on:
        raise Refused(f"The offer lapsed on {day_text(booking.offer_lapses_on)}.")
    made = booking.events.filter(kind=Happened.OFFERED).last()
    if made and on < made.on:
        raise Refused(f"The offer was made on {day_text(made.on)}; it cannot be accepted before.")
    cohort = places[0].cohort
    assert cohort is not None
    give_seats(booking, places, cohort, on, by)
    words = f"Accepted: {selectors.names(place.person for place in places)} in {cohort.name}."
    event = note(booking, Happened.ACCEPTED, words, on=on, by=by, cohort=cohort, seats=len(places))
    letters.tell(event, letter_kinds.ACCEPTED)
    return booking


def lapse_offers(*, on: date, by: User) -> list[Booking]:
    """End every offer whose last day has passed and offer its seats on at once. Doing it again changes nothing."""
    due = Booking.objects.filter(state=PlaceState.OFFERED, offer_lapses_on__lt=on)
    courses = Course.objects.filter(pk__in=due.values("course")).order_by("pk")
    return [booking for course in courses for booking in lapse_offers_of(course=course, on=on, by=by)]


@verb(permission=NOBODY, title="Let a course’s offers lapse")
def lapse_offers_of(*, course: Course, on: date, by: User) -> list[Booking]:
    """One course's offers whose last day has passed: they end, and their seats are offered on."""
    course = locked(course)
    due = Booking.objects.filter(course=course, state=PlaceState.OFFERED, offer_lapses_on__lt=on)
    lapsed = list(due.select_related("course", "household", "guardian").order_by("rank"))
    for booking in lapsed:
        places = Place.objects.filter(booking=booking, state=PlaceState.OFFERED)
        cohort = Cohort.objects.get(pk=places.values_list("cohort", flat=True)[0])
        count = places.update(state=PlaceState.LAPSED, ended_on=on)
        renew(booking, on)
        words = f"The offer of {cohort.name} lapsed without an answer."
        event = note(booking, Happened.LAPSED, words, on=on, by=by, cohort=cohort, seats=count)
        letters.tell(event, letter_kinds.OFFER_LAPSED, {"dates": cohort.name})
    offer_free_seats(course=course, on=on, by=by)
    return lapsed


@verb(permission="courses.change_place", title="Change the order")
def move_in_queue(*, booking: Booking, before: Booking | None, on: date, reason: str, by: User) -> Booking:
    """Put a waiting party directly in front of another, or last where `before` is None. The reason is kept."""
    course = locked(booking.course)
    booking = fresh(booking)
    if not reason.strip():
        raise Refused("Say why the order changes; the families may ask.")
    if booking.state != PlaceState.WAITING:
        raise Refused(
            f"Only a booking that waits can be moved; this one does not ({booking.get_state_display().lower()})."
        )
    if before and (before.pk == booking.pk or before.course_id != course.pk or fresh(before).state != booking.state):
        raise Refused("Choose another booking that waits for the same course.")
    if _stands_there(booking, before):
        return booking
    rank = _rank_between(booking, before)
    if rank is None:
        _spread_out(course, on, by)
        booking = fresh(booking)
        rank = _rank_between(booking, before)
    assert rank is not None
    where = f"in front of booking {before.number}" if before else "to the end of the waitlist"
    words = f"Moved {where}: {reason.strip()}"
    note(booking, Happened.MOVED, words, on=on, by=by, rank_after=rank)
    booking.rank = rank
    booking.save(update_fields=["rank"])
    return booking


def _stands_there(booking: Booking, before: Booking | None) -> bool:
    others = selectors.waitlist(booking.course).exclude(pk=booking.pk)
    behind = others.filter(rank__gt=booking.rank).first()
    return behind is None if before is None else behind is not None and behind.pk == before.pk


def _rank_between(booking: Booking, before: Booking | None) -> int | None:
    """A rank directly in front of `before`, or behind everybody; None where no number is left there."""
    others = Booking.objects.filter(course=booking.course).exclude(pk=booking.pk)
    if before is None:
        last = others.aggregate(last=Max("number"), rank=Max("rank"))
        front, behind = last["rank"] or 0, (max(last["last"] or 0, booking.number) + 1) * RANK_STEP
    else:
        behind = fresh(before).rank
        front = others.filter(rank__lt=behind).aggregate(rank=Max("rank"))["rank"] or 0
    rank = (front + behind) // 2
    return rank if front < rank < behind else None


def _spread_out(course: Course, on: date, by: User) -> None:
    """Give everyone who waits a new rank in the same order, with room between; the history says so."""
    waiting = list(selectors.waitlist(course))
    ranks = set(Booking.objects.filter(course=course).values_list("rank", flat=True))
    last = course.bookings.aggregate(last=Max("number"))["last"]
    step = (last + 1) * RANK_STEP // (len(waiting) + 1)
    for index, booking in enumerate(waiting, 1):
        booking.rank = next(rank for rank in range(index * step, (index + 1) * step) if rank not in ranks)
        words = "Kept its position; the numbers of the waitlist were spread out to make room."
        note(booking, Happened.MOVED, words, on=on, by=by, rank_after=booking.rank)
        booking.save(update_fields=["rank"])


@verb(permission="courses.change_place", title="Change which cohorts they can make")
def change_cohorts(*, booking: Booking, cannot_make: Sequence[Cohort], on: date, by: User) -> Booking:
    """Write down which cohorts the party cannot make; a free seat that it now fits is offered."""
    course = locked(booking.course)
    booking = fresh(booking)
    if set(booking.cannot_make.all()) == set(cannot_make):
        return booking
    if any(cohort.course_id != course.pk for cohort in cannot_make):
        raise Refused("Choose cohorts of the same course.")
    booking.cannot_make.set(cannot_make)
    excluded = ", ".join(cohort.name for cohort in cannot_make)
    words = f"Cannot make {excluded}." if excluded else "Can make every cohort."
    note(booking, Happened.CHANGED, words, on=on, by=by)
    offer_free_seats(course=course, on=on, by=by)
    return fresh(booking)
