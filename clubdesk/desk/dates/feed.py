"""Dates as a calendar that phones and laptops fetch (RFC 5545)."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

from django.conf import settings
from icalendar import Calendar, Event

from clubdesk.dates import Dated


def calendar_of(dates: Iterable[Dated], name: str, now: datetime) -> bytes:
    """Each of the dates as an event. A key makes its UID, so that what changes replaces what was fetched before.

    Times are told in UTC, which needs no time zone of its own. What is off stays and is CANCELLED (RFC 5545 section
    3.8.1.11). A calendar without a METHOD: DTSTAMP is when it was made (3.8.7.2). How often it is worth asking
    again: RFC 7986 section 5.7.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Fletchbook//Dates//EN")
    calendar.add("version", "2.0")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", timedelta(hours=6), parameters={"VALUE": "DURATION"})
    for each in dates:
        calendar.add_component(_event(each, now))
    content: bytes = calendar.to_ical()
    return content


def _event(each: Dated, now: datetime) -> Event:
    event = Event()
    event.add("uid", f"{each.key.replace(' ', '-')}@{_host()}")
    event.add("dtstamp", now)
    event.add("dtstart", _told(each.starts_at))
    event.add("dtend", _told(each.ends_at))
    event.add("summary", f"Called off: {each.title}" if each.is_off else each.title)
    if each.line:
        event.add("description", each.line)
    if each.place:
        event.add("location", each.place)
    event.add("status", "CANCELLED" if each.is_off else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    return event


def _told(at: date | datetime) -> date | datetime:
    return at.astimezone(UTC) if isinstance(at, datetime) else at


def _host() -> str:
    return str(settings.SITE_URL).split("//")[-1].split(":")[0]
