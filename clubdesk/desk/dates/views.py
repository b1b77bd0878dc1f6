"""The pages and feeds of the club's dates, without a sign-in."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.views.decorators.cache import cache_control

from clubdesk import clock
from clubdesk.clock import months_later
from clubdesk.dates import Dated
from clubdesk.desk.dates.feed import calendar_of
from clubdesk.errors import Refused
from clubdesk.handing import file_answer
from clubdesk.ledger.models import Book
from clubdesk.roll import links
from clubdesk.roll.models import Guardian, Household
from clubdesk.roll.views import family_page, for_family
from clubdesk.rooms import in_order

MONTHS_SHOWN, MONTHS_BACK, MONTHS_AHEAD = 6, 3, 13


@dataclass(frozen=True)
class Month:
    """A month of the page, and what is on in it; what began before it stands in the first month that is shown."""

    first: date
    dates: list[Dated]


def of_club(first: date, last: date) -> list[Dated]:
    """What all rooms tell of the days, in their order."""
    return _in_order(each for room in in_order() for each in room.dates(first, last))


def of_family(home: Household, first: date, last: date) -> list[Dated]:
    """The same of a family's people; nothing of any other's."""
    people = list(home.people.filter(erased_on=None).order_by("birth_date", "pk"))
    return _in_order(each for room in in_order() for each in room.dates_of(home, people, first, last))


def _in_order(dates: Iterable[Dated]) -> list[Dated]:
    return sorted(dates, key=lambda each: (each.first, each.begins is not None, each.begins or 0, each.key))


def club(request: HttpRequest) -> HttpResponse:
    """The club's dates of the next months, for everybody."""
    return _page(request, "Dates", of_club, reverse("dates:club_feed"))


@for_family
def own(request: HttpRequest, guardian: Guardian) -> HttpResponseBase:
    """A family's own dates, and the address of its own feed."""
    feed = reverse("dates:own_feed", args=[links.feed_token(guardian)])
    return _page(request, "Your dates", lambda *days: of_family(guardian.household, *days), feed, is_own=True)


def _page(
    request: HttpRequest, title: str, ask: Callable[[date, date], list[Dated]], feed: str, is_own: bool = False
) -> HttpResponse:
    today = clock.today()
    found = ask(today, months_later(today, MONTHS_SHOWN))
    grouped = groupby(found, key=lambda each: max(each.first, today).replace(day=1))
    months = [Month(first, list(dates)) for first, dates in grouped]
    address = f"{settings.SITE_URL}{feed}"
    return family_page(
        request, "desk/dates.html", title, months=months, feed=address, is_own=is_own,
        webcal=f"webcal://{address.split('//')[-1]}",
    )  # fmt: skip


@cache_control(public=True, max_age=900)
def club_feed(request: HttpRequest) -> HttpResponse:
    return _feed(request, of_club, _club_name())


def own_feed(request: HttpRequest, token: str) -> HttpResponse:
    """A family's feed, for as long as its guardian's links are not ended; afterwards there is nothing."""
    try:
        home = links.guardian_of_feed(token).household
    except Refused:
        raise Http404 from None
    return _feed(request, lambda *days: of_family(home, *days), f"{_club_name()}: our dates")


def _feed(request: HttpRequest, ask: Callable[[date, date], list[Dated]], name: str) -> HttpResponse:
    today = clock.today()
    found = ask(months_later(today, -MONTHS_BACK), months_later(today, MONTHS_AHEAD))
    content = calendar_of(found, name, clock.now())
    return file_answer(request, content, kind="text/calendar; charset=utf-8", name="dates.ics", is_shown=True)


def _club_name() -> str:
    of = Book.objects.first()
    return of.club_name if of else "The club"
