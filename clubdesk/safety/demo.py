"""The part of a safe day in the demo: on the last day the roster of the coming weeks, checks, and a near miss."""

from datetime import date, timedelta

from clubdesk.demoing import Demo, next_saturday
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.demo import HOURS, PLACE
from clubdesk.rangeday.models import Kit, KitKind, KitState
from clubdesk.roll.demo import Cast, guardian_as_person
from clubdesk.roll.models import Person
from clubdesk.rooms import Scene
from clubdesk.safety import services
from clubdesk.safety.models import CheckKind, DayRules, Duty, IncidentKind

WEEKS = 4
VOLUNTEERS = (5, 8, 11, 14)
"""Which children of the club have a guardian who takes turns."""


def leave(demo: Demo, day: date) -> None:
    """Rules from the next range day on; a check that lapses soon, a turn that somebody asks to swap, a near miss."""
    by, first = demo.users["coordinator"], next_saturday(day + timedelta(days=1))
    last = first + timedelta(weeks=WEEKS - 1)
    rangeday.plan_days(first_day=first, last_day=last, every=7, place=PLACE, by=by, **HOURS)
    DayRules.objects.create(since=first, people=2, children=24, arrivals=True)
    homes = dict.fromkeys(demo.part(Cast).juniors[number].household for number in VOLUNTEERS)
    people = [guardian_as_person(home, date(1983, 5, 1 + number)) for number, home in enumerate(homes)]
    _check(demo, people, day)
    span = {"first_day": first, "last_day": last}
    services.plan_turns(**span, duty=Duty.COACH, people=people[:2], each_day=1, by=by)
    services.plan_turns(**span, duty=Duty.LINE, people=people[2:], each_day=1, by=by)
    made = services.plan_turns(**span, duty=Duty.HELPER, people=people[::-1], each_day=1, by=by)
    services.ask_for_swap(turn=made.turns[-1], on=day, by=by)
    _near_miss(demo, day)


def _check(demo: Demo, people: list[Person], day: date) -> None:
    """All have one for working with children, of which the last lapses soon; the first two have one for coaching."""
    for number, person in enumerate(people):
        is_last = number == len(people) - 1
        good = timedelta(days=40 if is_last else 500 + 90 * number)
        kinds = (CheckKind.CHILDREN, CheckKind.COACHING) if number < 2 else (CheckKind.CHILDREN,)
        for kind in kinds:
            services.write_check(
                person=person, kind=kind, number=f"{kind[:2].upper()} {40271 + number}", expires_on=day + good, on=day,
                by=demo.users["coordinator"],
            )  # fmt: skip


def _near_miss(demo: Demo, day: date) -> None:
    bow = Kit.objects.filter(kind=KitKind.BOW, state=KitState.USABLE, loans__back_at__isnull=False).last()
    services.record_incident(
        kind=IncidentKind.NEAR_MISS,
        on=day - timedelta(days=1),
        place="waiting line",
        what="The string slipped off the lower limb as the bow was drawn. Nobody was hurt.",
        child=demo.part(Cast).keen,
        piece=bow,
        by=demo.users["helper"],
    )


SCENES = (Scene(leave=leave),)
