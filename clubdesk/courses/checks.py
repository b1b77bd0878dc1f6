"""Draw checks: who is below a minimum age, and is looked at before a place is offered.

Common practice, no source: below nine or so a club looks whether a child can reach, draw and hold a bow. Somebody
without a check may wait, and keeps the turn while a cohort for which they are too young passes them.
"""

from collections.abc import Iterable
from datetime import date

from django.db.models import DateField, Exists, ExpressionWrapper, F, IntegerField, OuterRef, Q, QuerySet, Value
from django.db.models.expressions import Combinable
from django.db.models.functions import Coalesce, ExtractDay, ExtractMonth, ExtractYear

from clubdesk.clock import long_day
from clubdesk.courses.models import TAKES_A_SEAT, Booking, Cohort, Place, PlaceState, ReachCheck
from clubdesk.errors import Refused
from clubdesk.roll.models import Person
from clubdesk.rooms import in_order


def is_old_enough(person: Person, cohort: Cohort) -> bool:
    """Old enough on the first session, or a draw check is recorded."""
    return person.birth_date <= cohort.born_by or person.reach_checks.exists()


def too_young(person: Person, cohort: Cohort) -> str:
    age = person.age_on(cohort.first_session)
    return f"{person} is {age} on the first session of {cohort.name}, which takes people from {cohort.youngest}"


def refuse_unchecked(places: Iterable[Place], cohort: Cohort) -> None:
    """Raise Refused for whoever waits, is too young for the cohort and has no draw check."""
    for place in places:
        if place.state == PlaceState.WAITING and not is_old_enough(place.person, cohort):
            raise Refused(f"{too_young(place.person, cohort)}. Record a draw check first.")


def _unchecked() -> QuerySet[Place]:
    return Place.objects.filter(~Exists(ReachCheck.objects.filter(person=OuterRef("person"))))


def waiting_places_too_young_for(cohort: Cohort) -> QuerySet[Place]:
    """Places of people below the cohort's age on its first session, for whom no draw check is recorded."""
    return _unchecked().filter(state=PlaceState.WAITING, person__birth_date__gt=cohort.born_by)


def seated_too_young_for(cohort: Cohort) -> QuerySet[Place]:
    """The same of those who hold or are offered a place in it, for instance since its first session was moved."""
    young = _unchecked().filter(cohort=cohort, person__birth_date__gt=cohort.born_by, state__in=TAKES_A_SEAT)
    return young.select_related("person").order_by("pk")


def _age(born: Combinable, day: Combinable) -> Combinable:
    """The age on a day of somebody born on another, as `Person.age_on`: a month is 31 days, a year twelve."""

    def number(of: Combinable) -> Combinable:
        read = ExpressionWrapper(of, output_field=DateField())
        return ExtractYear(read) * 372 + ExtractMonth(read) * 31 + ExtractDay(read)

    return ExpressionWrapper((number(day) - number(born)) / Value(372), output_field=IntegerField())


def needed(on: date) -> QuerySet[Place]:
    """Places that wait for a draw check alone: of who is too young for each cohort to come that the party can make.

    Where none is to come, of who is below the course's age on the day.
    """
    cannot = Booking.cannot_make.through.objects.filter(booking=OuterRef(OuterRef("booking"))).values("cohort")
    to_come = Cohort.objects.filter(cancelled_on=None, course=OuterRef("course"), first_session__gte=on)
    can_make = to_come.exclude(pk__in=cannot)
    least = Coalesce("minimum_age", "course__minimum_age")
    old_enough = can_make.annotate(age=_age(OuterRef("person__birth_date"), F("first_session"))).filter(age__gte=least)
    young_now = _unchecked().filter(state=PlaceState.WAITING)
    young_now = young_now.annotate(age_now=_age(F("person__birth_date"), Value(on)))
    return young_now.filter(~Exists(old_enough), Exists(can_make) | Q(age_now__lt=F("course__minimum_age")))


def to_watch(on: date) -> QuerySet[Person]:
    """Who is to be watched at the range, by name."""
    rows = Person.objects.filter(pk__in=needed(on).values("person"))
    return rows.order_by("given_name", "family_name", "pk")


def watched_of(booking: Booking, on: date) -> list[Person]:
    """Those of a booking who are to be watched first."""
    return [place.person for place in needed(on).filter(booking=booking).select_related("person").order_by("pk")]


def next_open_day(on: date) -> date | None:
    """When the range is open next, as the room of range days knows it."""
    return next((day for room in in_order() if room.opens and (day := room.opens(on))), None)


def asked_to_come(given_names: str, on: date) -> str:
    """What a family is told whose child is looked at first."""
    day = next_open_day(on)
    come = f"come to the range on {long_day(day, weekday=True)}" if day else "ask us when to come to the range"
    return f"We first look whether {given_names} can draw and hold a bow: please {come}."
