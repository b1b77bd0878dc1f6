"""The years, months and days above a list, told by the first and the last day in it: no row between them is read."""

from collections.abc import Iterable, Iterator
from datetime import date
from functools import cached_property
from typing import Any, cast

from django import template
from django.contrib.admin.templatetags.admin_list import date_hierarchy
from django.contrib.admin.views.main import ChangeList

register = template.Library()


class Days:
    """A list as Django's own navigation asks it for its days, and asks nothing else of it but its links."""

    def __init__(self, changes: ChangeList) -> None:
        self.changes, self.queryset = changes, self
        self.model, self.params, self.date_hierarchy = changes.model, changes.params, changes.date_hierarchy
        self.get_query_string = changes.get_query_string

    @cached_property
    def ends(self) -> dict[str, date | None]:
        name = str(self.date_hierarchy)
        days = self.changes.queryset.exclude(**{name: None}).values_list(name, flat=True)
        return {"first": days.order_by(name).first(), "last": days.order_by(f"-{name}").first()}

    def aggregate(self, **ends: object) -> dict[str, date | None]:
        return self.ends

    def dates(self, name: str, kind: str) -> Iterable[date]:
        """The first days of the years or months in which there may be something; of one month the days with rows."""
        if kind == "day":
            days: Iterable[date] = self.changes.queryset.dates(name, kind)
            return days
        return self._spans(kind)

    def datetimes(self, name: str, kind: str) -> Iterable[date]:
        """The same of a column of moments, in the club's time zone."""
        if kind == "day":
            days: Iterable[date] = self.changes.queryset.datetimes(name, kind)
            return days
        return self._spans(kind)

    def _spans(self, kind: str) -> Iterator[date]:
        return _steps(self.ends["first"], self.ends["last"], 12 if kind == "year" else 1)


def _steps(first: date | None, last: date | None, months: int) -> Iterator[date]:
    if first and last:
        begin, end = (day.year * 12 + day.month - 1 for day in (first, last))
        for month in range(begin - begin % months, end + 1, months):
            yield date(month // 12, month % 12 + 1, 1)


@register.inclusion_tag("admin/date_hierarchy.html")
def spans(changes: ChangeList) -> Any:
    return date_hierarchy(cast(ChangeList, Days(changes)))
