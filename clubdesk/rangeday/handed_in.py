"""What helpers counted at the range, before who may close the day posts it."""

from clubdesk.rangeday.models import RangeCount, RangeDay


def latest_count(range_day: RangeDay) -> RangeCount | None:
    """What helpers counted last at the range; None where they have not."""
    rows = RangeCount.objects.filter(range_day=range_day).select_related("recorded_by", "second_counter")
    return rows.first()
