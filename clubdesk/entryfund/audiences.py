"""Whom of the juniors the club may write to together about a state event."""

from collections.abc import Iterator
from datetime import date

from clubdesk.audiences import Audience
from clubdesk.clock import day_text
from clubdesk.entryfund.models import StateEvent
from clubdesk.entryfund.selectors import eligible_children
from clubdesk.roll.selectors import people_of_families


def _events(on: date) -> Iterator[tuple[int, str]]:
    for event in StateEvent.objects.filter(held_on__gte=on).order_by("held_on", "name"):
        yield event.pk, f"{event.name}, {day_text(event.held_on)}"


def _of_its_classes(chosen: int, on: date) -> dict[int, list[int]]:
    event = StateEvent.objects.filter(pk=chosen).first()
    found = eligible_children(event, on) if event else []
    return people_of_families((person.household_id, person.pk) for person in found)


AUDIENCES = (Audience("event", "The age classes of a state event", _of_its_classes, _events),)
