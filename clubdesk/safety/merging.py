"""What this room says where two people turn out to be one."""

from collections.abc import Iterator
from datetime import date

from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Merging
from clubdesk.safety.models import Involved, Stay, Turn, VolunteerCheck


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """Two who are on duty for the same, are both there, have the same check or are both in one record."""
    if not isinstance(one, Person):
        return
    mine, theirs = ({"person": each.pk} for each in (one, other))
    open_turns = Turn.objects.filter(ended_on=None)
    for turn in open_turns.filter(**theirs).select_related("range_day"):
        if open_turns.filter(**mine, range_day=turn.range_day_id, duty=turn.duty).exists():
            yield f"Both are on duty for the same on {turn.range_day}: take one of the two off the roster first."
    good = VolunteerCheck.objects.filter(ended_on=None)
    for check in good.filter(**theirs):
        if good.filter(**mine, kind=check.kind, expires_on=check.expires_on).exists():
            yield f"Both have the same {check.get_kind_display().lower()}: end one of the two first."
    there = Stay.objects.filter(left_at=None)
    for stay in there.filter(**theirs).select_related("range_day"):
        if there.filter(**mine, range_day=stay.range_day_id).exists():
            yield f"Both are there on {stay.range_day}: note that one of the two was collected first."
    for part in Involved.objects.filter(**theirs):
        if Involved.objects.filter(**mine, incident=part.incident_id, part=part.part).exists():
            yield "Both are named in the record of one incident, which stays as it is: they stay two people."


MERGING = Merging(refuses=refuses)
