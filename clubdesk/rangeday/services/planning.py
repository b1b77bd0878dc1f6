"""Range days set up ahead of time, and from when until when one is."""

from dataclasses import dataclass
from datetime import date, time, timedelta

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.rangeday import selectors
from clubdesk.rangeday.models import RangeDay
from clubdesk.verbs import verb

MOST_DAYS = 120


@dataclass(frozen=True)
class Planned:
    """The days that were set up, those that stood already, and those on which nobody shoots."""

    days: tuple[RangeDay, ...]
    stood: tuple[date, ...]
    closed: tuple[date, ...]


@verb(permission="rangeday.add_rangeday", title="Plan range days")
def plan_days(
    *,
    first_day: date,
    last_day: date,
    every: int,
    place: str,
    by: User,
    begins_at: time | None = None,
    ends_at: time | None = None,
) -> Planned:
    """Set up a range day every so many days from the first to the last, but for those on which nobody shoots.

    Days that stand already are passed over, so that the same again changes nothing. Raises Refused where the last day
    is before the first, for more than 120 days at once, and for hours that do not follow each other.
    """
    if last_day < first_day:
        raise Refused("The last day is before the first.")
    wanted = [first_day + timedelta(days=passed) for passed in range(0, (last_day - first_day).days + 1, max(every, 1))]
    if len(wanted) > MOST_DAYS:
        raise Refused(f"These would be {len(wanted)} range days; plan at most {MOST_DAYS} at once.")
    _check_hours(begins_at, ends_at)
    closed = selectors.closed_among(wanted)
    days: list[RangeDay] = []
    stood: list[RangeDay] = []
    for day in wanted:
        if day not in closed:
            row, is_new = RangeDay.objects.get_or_create(
                date=day, place=place, defaults={"begins_at": begins_at, "ends_at": ends_at}
            )
            (days if is_new else stood).append(row)
    return Planned(tuple(days), tuple(row.date for row in stood), tuple(closed))


@verb(permission="rangeday.add_rangeday", title="Change the hours")
def set_hours(*, range_day: RangeDay, begins_at: time | None, ends_at: time | None, by: User) -> RangeDay:
    """From when until when a day is, as families read it. Raises Refused for one that was counted or called off."""
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)
    if not day.is_open:
        raise Refused(f"{day} is {day.standing}; its hours stay as they were.")
    _check_hours(begins_at, ends_at)
    day.begins_at, day.ends_at = begins_at, ends_at
    day.save(update_fields=["begins_at", "ends_at"])
    return day


def _check_hours(begins_at: time | None, ends_at: time | None) -> None:
    if (begins_at is None) != (ends_at is None) or (begins_at and ends_at and ends_at <= begins_at):
        raise Refused("Say from when until when, the end after the beginning; or neither.")
