"""Pages of a range day that a link in its sections leads to, since its buttons are many already."""

from typing import TypeVar

from django.http import HttpRequest

from clubdesk.rangeday.models import RangeDay
from clubdesk.screens.tables import Link
from clubdesk.screens.verbs import VerbPage

Result = TypeVar("Result")


class FromASection(VerbPage[RangeDay, Result]):
    """A verb of a range day without a button."""

    def offered(self, request: HttpRequest, target: RangeDay) -> bool:
        return False


def link_row(page: FromASection[Result], request: HttpRequest, day: RangeDay, columns: int) -> list[tuple[object, ...]]:
    """A last row of a section that leads to the page, for whoever may, where it applies."""
    if not (page.allowed(request) and page.applies(day)):
        return []
    return [(Link(page.title, page.url(day)), *[""] * (columns - 1))]
