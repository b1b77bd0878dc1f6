"""How rows of any room wait: how many, and since when or by when."""

from datetime import date, datetime
from typing import Any

from django.db.models import Count, Min, QuerySet
from django.utils import timezone

from clubdesk.rooms import Waiting


def waiting(*rows: QuerySet[Any, Any], since: str = "", by: str = "", line: str = "") -> Waiting:
    """What stands in the queries together: how many, and the earliest of a column of dates or moments.

    `since` names the column that says from when each waits, `by` the one that says until when it may; one question a
    query.
    """
    first = Min(since or by)
    found = [each.order_by().aggregate(count=Count("pk"), first=first) for each in rows]
    days = [_day(each["first"]) for each in found if each["first"]]
    earliest = min(days, default=None)
    count = sum(each["count"] for each in found)
    return Waiting(count, since=earliest if since else None, by=earliest if by else None, line=line)


def _day(given: date) -> date:
    return timezone.localtime(given).date() if isinstance(given, datetime) else given
