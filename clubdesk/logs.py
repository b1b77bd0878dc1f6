"""What the log says of a request: one line, with an id and without whatever would name somebody or let anybody in; and
the letter to the administrator where something failed. Nothing here asks the database.
"""

import logging
import secrets
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from django.conf import settings
from django.core.mail import mail_admins
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve

log = logging.getLogger("clubdesk.requests")

LETTERS, LONG = "23456789ABCDEFGHJKMNPQRSTVWXYZ", 6
HIDDEN = "..."
BETWEEN_LETTERS, MOST_FRAMES = 600, 12
"""Seconds in which nobody is told of the same place twice; so many places of the program a letter names."""


class Logged:
    """One line a request on standard error: its id, what was asked, the answer, how long it took, the user's number."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.monotonic()
        response = self.get_response(request)
        if not request.path.startswith(f"/{settings.STATIC_URL.lstrip('/')}"):
            taken = 1000 * (time.monotonic() - began)
            user = getattr(getattr(request, "_cached_user", None), "pk", None)
            asked = f"{id_of(request)} {_method_of(request)} {address_of(request)}"
            log.info("%s %d %.0f ms user %s", asked, response.status_code, taken, user or "-")
        return response


def id_of(request: HttpRequest) -> str:
    """By which the log knows the request; a page that tells of a fault shows it."""
    found: str = request.META.setdefault("fletchbook.id", new_id())
    return found


def new_id() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(LONG))


def address_of(request: HttpRequest) -> str:
    """The path, with numbers and no other part that was filled in: a link's token, a code, what somebody typed."""
    path = request.path
    try:
        match = request.resolver_match or resolve(request.path_info)
    except Resolver404:
        return HIDDEN
    filled = [str(each) for name, each in match.kwargs.items() if name != "app_label"]
    for text in sorted((each for each in filled if each and not each.isdecimal()), key=len, reverse=True):
        path = path.replace(text, HIDDEN)
    return quote(path, safe="/.")


def _method_of(request: HttpRequest) -> str:
    return request.method if request.method in ("GET", "HEAD", "POST", "OPTIONS") else "other"


_told: dict[str, float] = {}
"""When the administrator was last told of a place, by this process."""


def tell_administrator(fault: str, where: str, error: BaseException) -> None:
    """A letter with the fault's id, where it was and which lines of the program led there; no value stands in it."""
    now, lines = time.monotonic(), _lines(error)
    place = f"{type(error).__name__} {lines[-1:]}"
    if now - _told.get(place, -BETWEEN_LETTERS) < BETWEEN_LETTERS:
        return
    _told[place] = now
    told = [f"Fault {fault} at {where}: {type(error).__name__}.", "The log has the rest under the same letters.", ""]
    mail_admins(f"fault {fault}", "\n".join([*told, *lines]), fail_silently=True)


def _lines(error: BaseException) -> list[str]:
    frames = traceback.extract_tb(error.__traceback__)[-MOST_FRAMES:]
    return [f"{_within(frame.filename)}:{frame.lineno} in {frame.name}" for frame in frames]


def _within(file: str) -> str:
    """The file's path below the installation's folder."""
    path = Path(file)
    return str(path.relative_to(settings.BASE_DIR)) if path.is_relative_to(settings.BASE_DIR) else path.name
