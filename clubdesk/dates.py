"""What a room tells the club's calendar: plain frozen types that know no model and no page."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.utils import timezone

from clubdesk import clock


@dataclass(frozen=True)
class Dated:
    """Something on a day or some days. Its `key`, “rangeday 7”, stays the same whatever else changes of it.

    With `begins` and `ends` it lasts from one to the other on its day, by the club's time; without it is of whole days.
    What is off stays in the calendar and says so. `kind` is a word that tells it from other things of the same day.
    """

    key: str
    kind: str
    title: str
    first: date
    last: date
    line: str = ""
    place: str = ""
    begins: time | None = None
    ends: time | None = None
    is_off: bool = False

    @property
    def starts_at(self) -> date | datetime:
        return _moment(self.first, self.begins) if self.begins else self.first

    @property
    def ends_at(self) -> date | datetime:
        """When it is over; of whole days the day after the last (RFC 5545 section 3.6.1: the end is not part of it)."""
        if self.begins and self.ends:
            return _moment(self.last, self.ends)
        return self.last + timedelta(days=1)

    @property
    def hours(self) -> str:
        """From when to when, as 9:00–12:00; blank for whole days."""
        return hours_text(self.begins, self.ends)


def _moment(day: date, at: time) -> datetime:
    return timezone.make_aware(datetime.combine(day, at))


def hours_text(begins: time | None, ends: time | None) -> str:
    """From when to when, as 9:00–12:00; blank where either is not said."""
    return f"{hour_text(begins)}–{hour_text(ends)}" if begins and ends else ""


def hour_text(at: time) -> str:
    """As 9:00, the same on every system."""
    return f"{at.hour}:{at:%M}"


def this_hour() -> str:
    """The time of day of the club, as 14:05: as of when something was reckoned."""
    return hour_text(timezone.localtime(clock.now()).time())
