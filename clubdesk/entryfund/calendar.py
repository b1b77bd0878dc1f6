"""The state events as a calendar that phones and laptops fetch by a secret link (RFC 5545)."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.conf import settings
from icalendar import Calendar, Event

from clubdesk.clock import long_day
from clubdesk.entryfund.models import StateEvent
from clubdesk.money import shown


def calendar_of(events: Iterable[StateEvent], club: str, now: datetime) -> bytes:
    """Each event on its days, and the day its entries close; times are whole days. Source: RFC 5545, section 3.6.1."""
    calendar = Calendar()
    calendar.add("prodid", "-//Fletchbook//State events//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"{club}: state events")
    for event in events:
        refunded = "The entry fund refunds it." if event.refunded else "The entry fund does not refund it."
        calendar.add_component(
            _days(f"event-{event.pk}", event.name, event.held_on, event.last_day, now,
                  f"{event.get_discipline_display()}. Entry fee {shown(event.fee)}. {refunded}")
        )  # fmt: skip
        calendar.add_component(
            _days(f"entries-{event.pk}", f"Entries close: {event.name}", event.entries_close, event.entries_close, now,
                  f"For {long_day(event.held_on)}.")
        )  # fmt: skip
    content: bytes = calendar.to_ical()
    return content


def _days(name: str, summary: str, first: object, last: object, now: datetime, description: str) -> Event:
    event = Event()
    host = settings.SITE_URL.split("//")[-1].split(":")[0]
    event.add("uid", f"{name}@{host}")
    event.add("dtstamp", now)
    event.add("dtstart", first)
    event.add("dtend", last + timedelta(days=1))  # type: ignore[operator]
    event.add("summary", summary)
    event.add("description", description)
    event.add("transp", "TRANSPARENT")
    return event
