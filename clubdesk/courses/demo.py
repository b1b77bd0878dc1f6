"""The part of the courses in the demo: families who ask, offers and their answers, cohorts and who came of them."""

from contextlib import suppress
from datetime import date, time, timedelta

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.courses.models import Booking, Cohort, Course, PlaceState, RefundStep
from clubdesk.demoing import Demo, next_sunday
from clubdesk.errors import Refused
from clubdesk.fees.demo import ask_back, pays_in_time
from clubdesk.fees.models import FeeItem
from clubdesk.membership.demo import join
from clubdesk.roll.demo import Cast, guardian_as_person
from clubdesk.rooms import Scene

TERMS = ((4, "Term 3"), (14, "Term 4"), (31, "Term 1"), (43, "Term 2"))
"""After how many weeks of the year a term's cohort begins."""


def begin(demo: Demo) -> None:
    course = Course.objects.create(
        name="Beginner course",
        fee_item=FeeItem.objects.get(code="beginner-course"),
        adult_fee_item=FeeItem.objects.get(code="beginner-course-adult"),
        minimum_age=10,
        offer_days=7,
        sessions_to_complete=3,
        pay_days=28,
        reminder_days=7,
    )
    for days, percent in ((28, 100), (7, 50)):
        RefundStep.objects.create(course=course, days_before=days, percent=percent)
    for index in range(30):
        demo.at(demo.last_year + timedelta(days=1 + index // 2), family_asks)


def plan(demo: Demo, start: date) -> None:
    for weeks, name in TERMS:
        plan_cohort(demo, start + timedelta(weeks=weeks), name)
    if start == demo.this_year:
        weeks, name = TERMS[0]
        plan_cohort(demo, clock.months_later(start, 12) + timedelta(weeks=weeks), name)
    for week in range(52):
        for _ in range(demo.chance.choice((0, 1, 1, 2, 1, 2))):
            demo.at(start + timedelta(weeks=week, days=demo.chance.randint(1, 6)), family_asks)


def plan_cohort(demo: Demo, week: date, name: str) -> None:
    """A cohort, set up most of a year ahead, and what happens in it."""
    first = next_sunday(week)
    demo.at(max(first - timedelta(days=265), demo.last_year), set_up, first, f"{name} {first.year}")
    demo.at(first - timedelta(days=45), transfer_one, first)
    demo.at(first - timedelta(days=20), withdraw_one, first)
    for weeks in range(4):
        demo.at(first + timedelta(weeks=weeks), session, first)
    demo.at(first + timedelta(weeks=3, days=1), certify, first)
    demo.at(first + timedelta(weeks=4), graduates_join, first)


def set_up(demo: Demo, day: date, first: date, name: str) -> None:
    cohort = Cohort(
        course=Course.objects.get(),
        name=name,
        first_session=first,
        last_session=first + timedelta(weeks=3),
        begins_at=time(13),
        ends_at=time(15),
        capacity=14,
    )
    services.save_cohort(cohort=cohort, on=day, by=demo.users["coordinator"])


def family_asks(demo: Demo, day: date) -> None:
    """A family asks for the course; a guardian may come along; some cannot make the next cohort."""
    newcomers = demo.part(Cast).newcomers
    if not newcomers:
        return
    party = newcomers.pop()
    household = party[0].household
    if demo.chance.random() < 0.15:
        born = day - timedelta(days=365 * demo.chance.randint(33, 51))
        party.append(guardian_as_person(household, born))
    to_come = list(Cohort.objects.filter(first_session__gte=day).order_by("first_session"))
    cohorts = to_come[1:] if len(to_come) > 1 and demo.chance.random() < 0.2 else None
    booking = services.book_party(
        course=Course.objects.get(), people=party, cohorts=cohorts, by=demo.users["coordinator"], on=day
    )
    if booking.state == PlaceState.HELD and demo.chance.random() < 0.96:
        pays_in_time(demo, day, household)


def answer_offers(demo: Demo, day: date) -> None:
    """Most families answer an offer within its days, some of them no."""
    for booking in Booking.objects.filter(state=PlaceState.OFFERED).order_by("pk"):
        answer = demo.chance.random()
        if answer < 0.2:
            services.accept_by_family(booking=booking, on=day)
            pays_in_time(demo, day, booking.household)
        elif answer < 0.23:
            services.withdraw_by_family(booking=booking, on=day, reason="the dates do not suit")


def transfer_one(demo: Demo, day: date, first: date) -> None:
    """One party asks for the cohort after, where that has room."""
    cohort = Cohort.objects.get(first_session=first)
    place = cohort.places.filter(state=PlaceState.HELD, booking__seats=1).last()
    later = Cohort.objects.filter(first_session__gt=first).order_by("first_session").first()
    if place and later:
        with suppress(Refused):  # no seat is left there
            services.transfer(
                booking=place.booking, cohort=later, on=day, reason="school camp", by=demo.users["coordinator"]
            )


def withdraw_one(demo: Demo, day: date, first: date) -> None:
    place = Cohort.objects.get(first_session=first).places.filter(state=PlaceState.HELD).first()
    if place:
        services.withdraw_place(place=place, on=day, reason="moving away", by=demo.users["coordinator"])
        demo.at(day + timedelta(days=9), ask_back, place.person.household)


def session(demo: Demo, day: date, first: date) -> None:
    cohort = Cohort.objects.get(first_session=first)
    present = [place for place in cohort.places.filter(state=PlaceState.HELD) if demo.chance.random() < 0.88]
    services.record_attendance(cohort=cohort, session=day, present=present, by=demo.users["coordinator"])


def certify(demo: Demo, day: date, first: date) -> None:
    services.issue_certificates(cohort=Cohort.objects.get(first_session=first), by=demo.users["coordinator"])


def graduates_join(demo: Demo, day: date, first: date) -> None:
    places = Cohort.objects.get(first_session=first).places.filter(state=PlaceState.HELD)
    for place in places.select_related("person__household__party"):
        if place.person.age_on(day) < 18 and demo.chance.random() < 0.75:
            demo.part(Cast).juniors.append(place.person)
            join(demo, day, place.person)


def leave(demo: Demo, day: date) -> None:
    """A seat of a cohort to come is freed, so that an offer stands open."""
    full = Cohort.objects.filter(first_session__gt=day, places__state=PlaceState.HELD).order_by("first_session").first()
    if full:
        withdraw_one(demo, day, full.first_session)


SCENES = (Scene(begin=begin, plan=plan, daily=answer_offers, leave=leave),)
