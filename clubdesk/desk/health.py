"""Whether the site is well: in a few words for a monitor, which signs in nowhere, and what of it home says."""

import os
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path

from django.conf import settings
from django.contrib.admin import AdminSite
from django.contrib.auth.models import User
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache

from clubdesk import clock, faults, guards, schema, upkeep
from clubdesk.clock import day_text
from clubdesk.desk.models import Regular
from clubdesk.mail.models import Message, MessageState
from clubdesk.moment import remembered_for
from clubdesk.rooms import Line
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link

KEPT = "How the site is kept"
KEEPING = (
    "Whoever keeps the machine has it run “manage.py nightly --backup-to FOLDER” every night: letters go out, offers"
    " lapse, the day’s backup is written, and the books are checked as “manage.py check_books” does. The folder lies"
    " on another disk or another machine. Try once a season whether a backup comes back: “manage.py restore FILE” into"
    " an empty database checks all of it."
)
LEAST_FREE = 300 * 1024 * 1024
MOST_NIGHTS_MISSED = 2
LETTERS_WAIT = timedelta(hours=6)
ASKED_AGAIN_AFTER = 10
"""Seconds: however often a stranger asks, the database is asked once in so many by each process."""


def last(what: Regular) -> date | None:
    """On which day the machine last did it."""
    return upkeep.last_done().get(what)


def missed_nights(today: date) -> int:
    """How many nights since the last one that was done; before the first, since somebody could first sign in."""
    since = last(Regular.NIGHT)
    if since is None:
        since = _first_joined() or today
    return max((today - since).days, 0)


@remembered_for(timedelta(hours=1))
def _first_joined() -> date | None:
    """On which day somebody could first sign in."""
    joined = User.objects.order_by("date_joined").values_list("date_joined", flat=True).first()
    return timezone.localdate(joined) if joined else None


def today(who: User, on: date) -> str:
    """The sentence for the top of the home page where nights are missed; blank where none is."""
    missed = missed_nights(on)
    if missed < MOST_NIGHTS_MISSED:
        return ""
    return (
        f"The nightly work was not done for {missed} days, so reminders have not gone out and offers have not lapsed. "
        "Tell whoever looks after the site."
    )


def how_it_is_kept(on: date) -> Sequence[Line]:
    """The card for whoever answers for the books: when the last night was done and the last backup made."""
    return [Line(Regular(what).label, _when(last(Regular(what)), on)) for what in Regular]


def kept(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """When the last night was done and the last backup made, and what whoever keeps the machine sets up."""
    facts = [(line.words, line.figure) for line in how_it_is_kept(clock.today())]
    parent = Link("Everything", reverse("admin:everything"))
    return site_page(request, site, "screens/figures.html", KEPT, parent=parent, intro=KEEPING, facts=facts)


def _when(day: date | None, on: date) -> str:
    if day is None:
        return "never"
    return "today" if day == on else day_text(day)


def _database() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return "damaged" if upkeep.is_damaged() else ""


def _tables() -> str:
    return "of another version" if schema.look(connection) else ""


def _guards() -> str:
    return "lacking" if guards.faults(connection) else ""


def folders() -> Iterator[Path]:
    """Where the site writes: its evidence and, where it is one, the file of the book."""
    yield Path(settings.MEDIA_ROOT)
    if connection.vendor == "sqlite":
        yield Path(str(connection.settings_dict["NAME"])).parent


def _disk() -> str:
    there = {next(each for each in (folder, *folder.absolute().parents) if each.exists()) for folder in folders()}
    return "nearly full" if min(shutil.disk_usage(each).free for each in there) < LEAST_FREE else ""


def _letters() -> str:
    waiting = Message.objects.filter(state=MessageState.WAITING, written_at__lt=clock.now() - LETTERS_WAIT)
    return "waiting too long" if waiting.exists() else ""


def _night() -> str:
    return "missed" if missed_nights(clock.today()) >= MOST_NIGHTS_MISSED else ""


LOOKED_AT: dict[str, Callable[[], str]] = {
    "database": _database, "tables": _tables, "guards": _guards, "disk": _disk, "letters": _letters, "night": _night,
}  # fmt: skip
"""Each gives what is wrong in a few words, or nothing."""


def found() -> dict[str, str]:
    """What is wrong with each, blank where nothing is."""
    return {name: _looked(look) for name, look in LOOKED_AT.items()}


def _looked(look: Callable[[], str]) -> str:
    try:
        return look()
    except faults.OF_DATABASE:
        return "does not answer"
    except OSError:
        return "cannot be read"


_known: dict[int, tuple[float, dict[str, str]]] = {}
"""By process, when it was last looked and what was found."""


@never_cache
def health(request: HttpRequest) -> HttpResponse:
    """A line for each thing that is looked at, and 503 where one is not well. It tells of nobody and of no figure."""
    at, now = _known.get(os.getpid(), (0.0, {}))
    if not now or time.monotonic() - at > ASKED_AGAIN_AFTER:
        now = found()
        _known[os.getpid()] = time.monotonic(), now
    lines = [f"{name}: {wrong or 'ok'}" for name, wrong in now.items()]
    return HttpResponse("\n".join(lines) + "\n", "text/plain", status=503 if any(now.values()) else 200)
