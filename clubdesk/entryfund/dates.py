"""What the calendar shows of state events: their days and when entries close; a family's, where a child may enter."""

from collections.abc import Iterator, Sequence
from datetime import date

from django.db.models import Q, QuerySet
from django.db.models.functions import Coalesce

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.courses.selectors import names
from clubdesk.dates import Dated
from clubdesk.entryfund.models import StateEvent
from clubdesk.entryfund.selectors import is_of_its_classes
from clubdesk.membership.selectors import members_on
from clubdesk.money import shown
from clubdesk.roll.models import Household, Person


def dates(first: date, last: date) -> Iterator[Dated]:
    for event in _events(first, last):
        refunded = "The entry fund refunds it." if event.refunded else "The entry fund does not refund it."
        yield from _of_event(event, f"Entry fee {shown(event.fee)}. {refunded}", first, last)


def dates_of(home: Household, people: Sequence[Person], first: date, last: date) -> Iterator[Dated]:
    """The events that members of the family may enter in a junior class that the fund refunds."""
    members = set(members_on(clock.today()).filter(person__in=people).values_list("person", flat=True))
    for event in _events(first, last).filter(refunded=True) if members else ():
        if may := [each for each in people if each.pk in members and is_of_its_classes(each, event)]:
            yield from _of_event(event, f"{names(may)} may enter.", first, last)


def _events(first: date, last: date) -> QuerySet[StateEvent]:
    over = Coalesce("ends_on", "held_on")
    running = Q(held_on__lte=last, over__gte=first) | Q(entries_close__range=(first, last))
    return StateEvent.objects.annotate(over=over).filter(running).order_by("held_on", "pk")


def _of_event(event: StateEvent, line: str, first: date, last: date) -> Iterator[Dated]:
    if event.held_on <= last and event.last_day >= first:
        words = f"{event.get_discipline_display()}. {line}"
        yield Dated(f"event {event.pk}", "event", event.name, event.held_on, event.last_day, line=words)
    if first <= event.entries_close <= last:
        closes = event.entries_close
        on = f"It is held on {long_day(event.held_on)}. {line}"
        yield Dated(f"entries {event.pk}", "entries", f"Entries close: {event.name}", closes, closes, line=on)
