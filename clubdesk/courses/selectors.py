"""Questions about courses."""

import hashlib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar

from django.core.cache import cache
from django.db.models import Count, Exists, F, Max, OuterRef, Q, QuerySet
from django_stubs_ext import WithAnnotations
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.courses import forecast
from clubdesk.courses.checks import too_young, waiting_places_too_young_for
from clubdesk.courses.forecast import CohortAhead, Estimate, Habits, PartyAhead, estimates, not_set_up_yet
from clubdesk.courses.models import (
    ADULT_FROM,
    STANDING,
    TAKES_A_SEAT,
    WHY_SWAPPED,
    Booking,
    BookingEvent,
    Certificate,
    Cohort,
    Course,
    Happened,
    Place,
    PlaceState,
    ReachCheck,
    day_years_before,
)
from clubdesk.fees import selectors as fees
from clubdesk.fees.accounts import in_kept_parts
from clubdesk.fees.models import Charge, FeePrice
from clubdesk.fees.selectors import TakenBack, charges_with_open, if_taken_back
from clubdesk.money import as_amount, half_up, nil
from clubdesk.roll.models import Household, Person

AnyCohort = TypeVar("AnyCohort", bound=Cohort)
Answer = TypeVar("Answer")
NOT_CANCELLED = Q(cancelled_on=None)


class Seats(TypedDict):
    """How many places of a cohort are held or offered."""

    taken: int


if TYPE_CHECKING:
    SeatedCohort = WithAnnotations[Cohort, Seats]
else:
    SeatedCohort = Cohort


def cohorts_with_seats() -> "QuerySet[SeatedCohort, SeatedCohort]":
    """Cohorts with `taken`: the places held and offered."""
    return Cohort.objects.select_related("course").annotate(
        taken=Count("places", filter=Q(places__state__in=TAKES_A_SEAT))
    )


def cohorts_to_come(course: Course, on: date) -> "QuerySet[SeatedCohort, SeatedCohort]":
    """The course's cohorts that have not begun before `on`, the next one first, with `taken`."""
    return cohorts_with_seats().filter(NOT_CANCELLED, course=course, first_session__gte=on).order_by("first_session")


def courses_with_a_free_seat(on: date) -> QuerySet[Course]:
    """The courses for which somebody waits, and of which a cohort that has not begun before `on` has a free seat."""
    waits = Booking.objects.filter(course=OuterRef("pk"), state=PlaceState.WAITING)
    room = cohorts_with_seats().filter(NOT_CANCELLED, first_session__gte=on, taken__lt=F("capacity"))
    free = room.order_by().values("course")
    return Course.objects.filter(Exists(waits), pk__in=free).order_by("pk")


def cohorts_not_over(on: date) -> "QuerySet[SeatedCohort, SeatedCohort]":
    """Cohorts that can still be booked by hand, the next one first, with `taken`."""
    return cohorts_with_seats().filter(NOT_CANCELLED, last_session__gte=on).order_by("first_session")


def seats_left(cohort: Cohort) -> int:
    return cohort.capacity - cohort.places.filter(state__in=TAKES_A_SEAT).count()


def waitlist(course: Course) -> QuerySet[Booking]:
    """The parties that wait for the course, in their order."""
    return Booking.objects.filter(course=course, state=PlaceState.WAITING).order_by("rank")


def bound_to_no_date(on: date) -> QuerySet[Booking]:
    """The parties that wait and can make none of the cohorts to come, though there are some: nobody offers them any."""
    to_come = Cohort.objects.filter(NOT_CANCELLED, course=OuterRef("course"), first_session__gte=on)
    cannot = Booking.cannot_make.through.objects.filter(booking=OuterRef(OuterRef("pk"))).values("cohort")
    waiting = Booking.objects.filter(Exists(to_come), state=PlaceState.WAITING)
    return waiting.filter(~Exists(to_come.exclude(pk__in=cannot))).order_by("rank")


def offered_since(cohort: Cohort, since: BookingEvent) -> Booking | None:
    """The last party that was offered a place of the cohort after that line of the history, and has not answered."""
    offers = BookingEvent.objects.filter(kind=Happened.OFFERED, cohort=cohort, pk__gt=since.pk)
    still = Place.objects.filter(cohort=cohort, state=PlaceState.OFFERED)
    last = offers.filter(booking__in=still.values("booking")).order_by("pk").last()
    return last.booking if last else None


def last_day_noted(**which: object) -> date | None:
    """The last day that the history has anything of: of a `booking`, or of a whole course (`booking__course`)."""
    last: date | None = BookingEvent.objects.filter(**which).aggregate(last=Max("on"))["last"]
    return last


def position(booking: Booking) -> int:
    """1 for the party that is next."""
    return waitlist(booking.course).filter(rank__lte=booking.rank).count()


def fitting(cohort: Cohort, seats: int) -> QuerySet[Booking]:
    """The parties of the waitlist that `seats` of the cohort would take together, in their order."""
    young = waiting_places_too_young_for(cohort).filter(booking=OuterRef("pk"))
    return waitlist(cohort.course).filter(~Exists(young), seats__lte=seats).exclude(cannot_make=cohort)


def why_passed(parties: Sequence[Booking], cohort: Cohort, seats: int) -> dict[int, str]:
    """Why `seats` free in the cohort do not do for each of the parties, by id; none for a party they would do for."""
    rows = waiting_places_too_young_for(cohort).filter(booking__in=parties).select_related("person")
    young = {place.booking_id: place.person for place in rows}
    reasons = {}
    for party in parties:
        if cohort in party.cannot_make.all():
            reasons[party.pk] = f"cannot make {cohort.name}"
        elif party.pk in young:
            reasons[party.pk] = f"{too_young(young[party.pk], cohort)}, and no draw check is recorded"
        elif party.seats > seats:
            free = f"{seats} {'was' if seats == 1 else 'were'} free"
            reasons[party.pk] = f"wants {party.seats} places together, {free}"
    return reasons


def standing_place(person: Person, course: Course, on: date) -> Place | None:
    """The place that the person has, is offered or waits for in a cohort of the course that is not over."""
    waits = Q(state__in=(PlaceState.WAITING, PlaceState.OFFERED))
    holds = Q(state=PlaceState.HELD, cohort__last_session__gte=on)
    return Place.objects.filter(waits | holds, course=course, person=person).first()


def who_could_join(booking: Booking, on: date) -> QuerySet[Person]:
    """The others of the family who have no place in the course and wait for none."""
    waits, holds = Q(state__in=(PlaceState.WAITING, PlaceState.OFFERED)), Q(cohort__last_session__gte=on)
    standing = Place.objects.filter(waits | holds & Q(state=PlaceState.HELD), course=booking.course_id)
    return booking.household.people.filter(erased_on=None).exclude(pk__in=standing.values("person"))


def price_for(person: Person, cohort: Cohort) -> FeePrice:
    """The adults' or the children's fee on the first session, or Refused where the schedule has none."""
    course = cohort.course
    adult = course.adult_fee_item and person.age_on(cohort.first_session) >= ADULT_FROM
    return fees.price_on(
        course.adult_fee_item if adult and course.adult_fee_item else course.fee_item, cohort.first_session
    )


def with_price(cohorts: Iterable[AnyCohort]) -> list[AnyCohort]:
    """Those cohorts for which the fee schedule has every price that a place in them may need."""
    wanted = {cohort: _prices_of(cohort) for cohort in cohorts}
    found = fees.have_price(price for prices in wanted.values() for price in prices) if wanted else set()
    return [cohort for cohort, prices in wanted.items() if prices <= found]


def fees_of(course: Course, days: Iterable[date]) -> dict[date, tuple[Money | None, Money | None]]:
    """What the course costs a child and an adult on each first session; None where nothing says so, or both are one."""
    wanted, items = list(days), (course.fee_item_id, course.adult_fee_item_id)
    prices = fees.prices_on((item, day) for day in wanted for item in items if item)
    amounts = {key: price.amount for key, price in prices.items()}
    return {day: (amounts.get((items[0], day)), amounts.get((items[1] or 0, day))) for day in wanted}


def _prices_of(cohort: Cohort) -> set[tuple[int, date]]:
    items = (cohort.course.fee_item_id, cohort.course.adult_fee_item_id)
    return {(item, cohort.first_session) for item in items if item}


def cohorts_without_price(on: date) -> list[str]:
    """A sentence for each coming cohort that nobody can be offered, since the fee schedule has no price for it."""
    rows = Cohort.objects.filter(NOT_CANCELLED, first_session__gte=on).select_related("course")
    cohorts = list(rows.order_by("first_session"))
    priced = with_price(cohorts)
    return [
        f"{cohort}: the fee schedule has no price on {day_text(cohort.first_session)}, so no place is offered; add one."
        for cohort in cohorts
        if cohort not in priced
    ]


def percent_back(cohort: Cohort, on: date) -> int:
    """How much of the fee the course's rule gives back to who withdraws on `on`; all of it without a rule."""
    steps = list(cohort.course.refund_steps.all())
    if not steps:
        return 100
    days = (cohort.first_session - on).days
    reached = [step for step in steps if step.days_before <= days]
    return max(reached, key=lambda step: step.days_before).percent if reached else 0


def kept_of(place: Place, on: date) -> Money:
    """What the course's rule keeps of the place's fee on `on`, before vouchers: the share given back rounds half up.

    Nothing, where the club has changed the days and the family may still leave for that.
    """
    if place.charge is None or place.cohort is None or is_free_to_leave(place, on):
        return nil()
    fee = place.charge.amount.amount
    return as_amount(fee - half_up(fee * percent_back(place.cohort, on) / Decimal(100)))


def is_free_to_leave(place: Place, on: date) -> bool:
    """Whether the club has changed the days of a place that is held, and the day to leave for that is still to come."""
    return place.state == PlaceState.HELD and place.free_to_leave_until is not None and on <= place.free_to_leave_until


def if_withdrawn(place: Place, on: date) -> TakenBack | None:
    """What withdrawing the place on `on` would come to, with its vouchers and what was credited before."""
    return if_taken_back(place.charge, kept_of(place, on)) if place.charge else None


def still_owed(places: Iterable[Place]) -> dict[int, Decimal]:
    """What is still to pay of each place's charge, by place."""
    charges = {place.charge_id: place.pk for place in places if place.charge_id}
    rows = charges_with_open().filter(pk__in=charges).values_list("pk", "open_amount")
    return {charges[pk]: figure for pk, figure in rows}


def names(people: Iterable[Person]) -> str:
    """Given names in a sentence: “Ada, Bela and Cato”."""
    given = [person.given_name for person in people]
    return " and ".join([", ".join(given[:-1]), given[-1]] if len(given) > 1 else given)


def last_booking(household: Household, course: Course) -> Booking:
    return Booking.objects.filter(household=household, course=course).latest("pk")


def can_leave(place: Place, on: date) -> bool:
    """Whether there is still something to withdraw from: a place or a wait, in no cohort that is over or completed."""
    over = place.cohort is not None and place.cohort.last_session < on
    return place.state in STANDING and not over and not hasattr(place, "certificate")


def places_of(booking: Booking) -> list[Place]:
    """All places of the party, also ended ones, with their people."""
    rows = Place.objects.filter(booking=booking).select_related(
        "person", "cohort__course", "charge", "certificate", "offered_price__item__income_account"
    )
    return list(rows.order_by("pk"))


def unpaid(on: date) -> QuerySet[Any]:
    """Charges with something still to pay, of places in cohorts that have not begun; not while it is paid in parts."""
    return charges_with_open().filter(
        ~in_kept_parts(on), place__state=PlaceState.HELD, place__cohort__first_session__gt=on, open_amount__gt=0
    )


def paid_in_parts(places: Iterable[Place], on: date) -> bool:
    """Whether the family pays for one of the places in parts, and is not behind with them."""
    charges = [place.charge_id for place in places if place.charge_id]
    return Charge.objects.filter(in_kept_parts(on), pk__in=charges).exists()


def unpaid_bookings(on: date) -> QuerySet[Booking]:
    """Parties with a place that is not paid, whose course asks for it by a day, in cohorts that have not begun."""
    owing = Exists(unpaid(on).filter(place__booking=OuterRef("pk")))
    return Booking.objects.filter(owing, pay_by__isnull=False).select_related("course").order_by("pk")


def sessions_come_to(cohort: Cohort) -> dict[int, int]:
    """How many sessions each place was present at."""
    rows = cohort.places.filter(attendances__isnull=False).values_list("pk").annotate(count=Count("attendances"))
    return dict(rows)


def lapses_on(cohort: Cohort, on: date) -> date:
    """The last day to accept an offer made on `on`: the course's days, but not beyond the first session."""
    return min(on + timedelta(days=cohort.course.offer_days), max(cohort.first_session, on))


# How long the wait is likely to be

HISTORY = timedelta(days=3 * 365)
FIRST_IN_QUEUE = 50
JOINING_NOW = 0
"""The key of a party of one that would join the queue today."""


def habits(course: Course, on: date) -> Habits:
    """What this course's families did in the last three years: gave up, held or waited, took offers or not."""
    given_up = place_days = 0
    rows = Place.objects.filter(course=course, booking__booked_on__gte=on - HISTORY, cohort__cancelled_on=None)
    for booked_on, ended_on, starts_on, charge in rows.exclude(charge__credits__reason=WHY_SWAPPED).values_list(
        "booking__booked_on", "ended_on", "cohort__first_session", "charge"
    ):
        until = min(day for day in (ended_on, starts_on, on) if day)
        place_days += max((until - booked_on).days, 0)
        before_start = ended_on and (starts_on is None or ended_on < starts_on)
        given_up += bool(before_start and (charge or starts_on is None))
    return Habits(given_up, place_days, *_answers(course, on), *_asked(course, on))


def _asked(course: Course, on: date) -> tuple[tuple[int, ...], int]:
    """For how many places each party asked, and within how many days."""
    rows = Booking.objects.filter(course=course, booked_on__gte=on - HISTORY, booked_on__lte=on).order_by("booked_on")
    parties = list(rows.annotate(people=Count("places__person", distinct=True)).values_list("booked_on", "people"))
    return tuple(people for _, people in parties), (on - parties[0][0]).days if parties else 0


def _answers(course: Course, on: date) -> tuple[int, int]:
    """How many offers were taken, and how many lapsed or were declined."""
    kinds = (Happened.OFFERED, Happened.ACCEPTED, Happened.LAPSED, Happened.WITHDRAWN, Happened.RETURNED)
    events = BookingEvent.objects.filter(booking__course=course, on__gte=on - HISTORY, kind__in=kinds).order_by("pk")
    open_offers: set[int] = set()
    taken = not_taken = 0
    for booking, kind in events.values_list("booking", "kind"):
        if kind == Happened.OFFERED:
            open_offers.add(booking)
        elif booking in open_offers:
            open_offers.discard(booking)
            taken += kind == Happened.ACCEPTED
            not_taken += kind in (Happened.LAPSED, Happened.WITHDRAWN)
    return taken, not_taken


def wait_estimates(course: Course, on: date) -> "Waits":
    """What each waiting party, and one that would join now, may expect. The same book gives the same answer."""
    cohorts = list(cohorts_to_come(course, on))
    return _remembered("waits", course, cohorts, on, lambda: _simulate(course, cohorts, on))


def _remembered(
    what: str, course: Course, cohorts: "list[SeatedCohort]", on: date, reckon: Callable[[], Answer]
) -> Answer:
    """The answer as it was reckoned before, unless the course's history or its cohorts went on since."""
    last = BookingEvent.objects.filter(booking__course=course).aggregate(last=Max("pk"))["last"]
    shape = [(cohort.pk, cohort.first_session, cohort.capacity, cohort.youngest) for cohort in cohorts]
    key = hashlib.sha256(repr((course.pk, course.offer_days, on, last, shape)).encode()).hexdigest()
    return cache.get_or_set(f"{what}-{key}", reckon, 3600)  # type: ignore[return-value]


QUICKER_BY = 0.1


def if_apart(booking: Booking, on: date) -> tuple[float, float] | None:
    """The chances that all of a waiting group have places in the cohorts that are set up: together, and if they were
    booked apart. None where that would not be much quicker.
    """
    course = booking.course
    cohorts = list(cohorts_to_come(course, on))
    together = wait_estimates(course, on).found.get(booking.pk) if booking.seats > 1 and cohorts else None
    if booking.state != PlaceState.WAITING or together is None:
        return None

    def reckon() -> Estimate:
        ahead, queue, _ = _as_the_book_has_them(course, cohorts, on)
        return forecast.estimate_apart(ahead, queue, booking.pk, habits(course, on), course.offer_days)

    apart = _remembered(f"apart-{booking.pk}", course, cohorts, on, reckon)
    now, then = (sum(each.chance(cohort.pk) for cohort in cohorts) for each in (together, apart))
    return (now, then) if then - now >= QUICKER_BY else None


def _simulate(course: Course, cohorts: "list[SeatedCohort]", on: date) -> "Waits":
    ahead, queue, names = _as_the_book_has_them(course, cohorts, on)
    return Waits(names, estimates(ahead, queue, habits(course, on), course.offer_days))


def _as_the_book_has_them(
    course: Course, cohorts: "list[SeatedCohort]", on: date
) -> tuple[list[CohortAhead], list[PartyAhead], dict[int, str]]:
    """The cohorts to come, also those not set up yet, the queue for them, and what each cohort is called."""
    seated: dict[tuple[int, str], list[int]] = defaultdict(list)
    for cohort, booking, state in Place.objects.filter(cohort__in=cohorts, state__in=TAKES_A_SEAT).values_list(
        "cohort", "booking", "state"
    ):
        seated[cohort, state].append(booking)
    ahead = [
        CohortAhead(
            key=cohort.pk,
            days=(cohort.first_session - on).days,
            free=max(cohort.capacity - cohort.taken, 0),
            held=list(Counter(seated[cohort.pk, PlaceState.HELD]).values()),
            offered=list(Counter(seated[cohort.pk, PlaceState.OFFERED]).values()),
        )
        for cohort in cohorts
    ]
    later = _not_set_up_yet(course, on)
    queue = _queue_ahead(course, cohorts, {each.key: on + timedelta(days=each.days) for each in later})
    everywhere = frozenset([*(cohort.pk for cohort in cohorts), *(each.key for each in later)])
    queue.append(PartyAhead(JOINING_NOW, 1, everywhere))
    names = {cohort.pk: cohort.name for cohort in cohorts}
    names |= {each.key: f"about {on + timedelta(days=each.days):%B %Y}" for each in later}
    return [*ahead, *later], queue, names


def _not_set_up_yet(course: Course, on: date) -> list[CohortAhead]:
    """What the club will set up next if it keeps the rhythm of the last two years."""
    rows = Cohort.objects.filter(NOT_CANCELLED, course=course, first_session__gte=on - timedelta(days=730))
    cohorts = list(rows.order_by("first_session"))
    if not cohorts:
        return []
    starts = [(cohort.first_session - on).days for cohort in cohorts]
    leads = [(cohort.first_session - cohort.set_up_on).days for cohort in cohorts]
    return not_set_up_yet(starts, leads, cohorts[-1].capacity)


def _queue_ahead(course: Course, cohorts: list[Any], later: dict[int, date]) -> list[PartyAhead]:
    """As many of the queue as the coming cohorts could ever reach, each with those that it can make and is old for."""
    reachable = 3 * sum(cohort.capacity for cohort in cohorts) + FIRST_IN_QUEUE
    parties = list(waitlist(course).prefetch_related("cannot_make")[:reachable])
    born_by = {cohort.pk: cohort.born_by for cohort in cohorts}
    born_by |= {key: day_years_before(first, course.minimum_age) for key, first in later.items()}
    waiting = Place.objects.filter(booking__in=parties, state=PlaceState.WAITING)
    unchecked = waiting.filter(~Exists(ReachCheck.objects.filter(person=OuterRef("person"))))
    youngest = dict(unchecked.order_by().values_list("booking").annotate(born=Max("person__birth_date")))
    found = []
    for party in parties:
        excluded = {cohort.pk for cohort in party.cannot_make.all()}
        fits = {key for key, day in born_by.items() if key not in excluded and youngest.get(party.pk, day) <= day}
        found.append(PartyAhead(party.pk, party.seats, frozenset(fits)))
    return found


@dataclass(frozen=True)
class Waits:
    """The estimates of a course's waitlist."""

    cohorts: dict[int, str]
    found: dict[int, Estimate]

    def likely(self, party: int) -> str:
        """“Term 3 2027 (72 %)”, for the booking's id or for JOINING_NOW."""
        if not self.cohorts:
            return "no cohort is set up yet"
        estimate = self.found.get(party)
        cohort, chance = estimate.likeliest if estimate else (None, 1.0)
        return f"{self.cohorts[cohort] if cohort else 'later than all of these'} ({percent(chance)})"

    def in_words(self, party: int) -> str:
        """“most likely Term 3 2027 (72 %)”."""
        return f"most likely {self.likely(party)}" if self.cohorts else self.likely(party)

    def table(self, party: int) -> list[tuple[str, str]]:
        """Each cohort with its chance."""
        estimate = self.found.get(party)
        return [(name, percent(estimate.chance(key) if estimate else 0)) for key, name in self.cohorts.items()]


def percent(chance: float) -> str:
    """Never all or nothing: it is an estimate."""
    if chance > 0.99:
        return "over 99 %"
    return f"{chance * 100:.0f} %" if chance >= 0.01 else "under 1 %"


def completed_by(day: date, people: Sequence[int] | None = None) -> set[int]:
    """Ids of everyone who had completed a course by that day; of `people` only, where they are given."""
    rows = Certificate.objects.filter(completed_on__lte=day)
    if people is not None:
        rows = rows.filter(place__person__in=people)
    return set(rows.values_list("place__person", flat=True))


def completions(since: date, until: date) -> QuerySet[Certificate]:
    """The certificates of courses that were completed on one of these days."""
    return Certificate.objects.filter(completed_on__range=(since, until))
