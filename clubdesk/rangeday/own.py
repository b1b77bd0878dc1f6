"""What a family's own page shows of the range: who came when, and with whose gear."""

from collections.abc import Sequence
from datetime import date, timedelta

from clubdesk.clock import day_text
from clubdesk.families import OfChild, Part
from clubdesk.rangeday.models import Gear, SignOn
from clubdesk.roll.models import Household, Person

A_TERM = timedelta(weeks=13)
MOST_DAYS = 6


def of_family(home: Household, people: Sequence[Person], on: date) -> Part:
    """The range days of about a term back, each child's in one line."""
    came: dict[int, list[SignOn]] = {person.pk: [] for person in people}
    rows = SignOn.objects.filter(person__in=people, cancelled_on=None, range_day__date__gt=on - A_TERM)
    for row in rows.select_related("range_day").order_by("-range_day__date", "-pk"):
        if row.person_id:
            came[row.person_id].append(row)
    return Part(children=tuple(_line(person, days) for person, days in came.items() if days))


def _line(person: int, days: Sequence[SignOn]) -> OfChild:
    hired = sum(each.gear != Gear.OWN for each in days)
    words = f"{len(days)} range {'day' if len(days) == 1 else 'days'} in the last three months"
    told = [
        f"{day_text(each.range_day.date)}{'' if each.gear == Gear.OWN else ' (hired)'}" for each in days[:MOST_DAYS]
    ]
    more = ", and before" if len(days) > MOST_DAYS else ""
    return OfChild(
        person, f"{words}, gear hired {hired} {'time' if hired == 1 else 'times'}", f"{', '.join(told)}{more}"
    )
