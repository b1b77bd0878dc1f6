"""The demo's walk: its four scenes on the home page, one after the other, each by whose work it is."""

from dataclasses import dataclass
from datetime import timedelta

from django.contrib.auth.models import Permission, User
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock, rooms
from clubdesk.desk.demo import SIGN_INS
from clubdesk.ledger.selectors import the_book, year_start
from clubdesk.moment import remembered_for
from clubdesk.rooms import Entry, Menu
from clubdesk.verbs import may

AN_HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Step:
    """A scene, what to do in it, where; and as whom to sign in, where it is not the work of whoever looks."""

    title: str
    line: str
    url: str
    instead: str = ""


def walk(request: HttpRequest) -> dict[str, object]:
    """The scenes in the order of a season, and when a book of one's own would begin; nothing in a club's own books."""
    book = the_book()
    if not (book and book.is_demo):
        return {}
    every = (each for room in rooms.as_a_season_goes() for each in room.menu if each.place == Menu.SCENE)
    steps = [_step(request, each) for each in every if isinstance(each, Entry) and each.tried]
    return {"walk": steps, "year_start": remembered_for(AN_HOUR)(year_start)(clock.today())}


def _step(request: HttpRequest, entry: Entry) -> Step:
    if may(request.user, entry.permission):
        return Step(entry.title, entry.tried, reverse(entry.page))
    return Step(entry.title, entry.tried, "", _who_may(entry.permission))


@remembered_for(AN_HOUR)
def _who_may(permission: str) -> str:
    """The first of the demo's sign-ins whose role has the permission; blank where none has."""
    app, codename = permission.split(".")
    groups = Permission.objects.filter(content_type__app_label=app, codename=codename).values("group")
    able = set(User.objects.filter(groups__in=groups).values_list("username", flat=True))
    return next((name for name in SIGN_INS if name in able), "")
