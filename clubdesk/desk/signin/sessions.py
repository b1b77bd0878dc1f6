"""When a session ends by itself: after some hours in which nothing was done; the sheet of a range day keeps a day,
after which every session ends.

When something was last done stands in a signed cookie, so that looking at a page writes no row. A browser that has the
session's cookie alone is taken to have done nothing since it signed in.
"""

import time
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_in
from django.contrib.sessions.models import Session
from django.core.signing import BadSignature
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase

COOKIE, SINCE = "seen", "signed_in_at"
AGAIN_AFTER = 60
"""Seconds until the cookie is written anew."""
SHEET = ("/range/",)
DAY = 24 * 3600


class Idle:
    """Sign out whoever did nothing for `IDLE_HOURS`; what a range day's sheet sends by itself is nothing done."""

    def __init__(self, get_response: Any):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return self._answer(request)
        seen, now = _seen(request), int(time.time())
        is_sheet = request.path.startswith(SHEET)
        if now - seen > (DAY if is_sheet else settings.IDLE_HOURS * 3600):
            logout(request)
            messages.info(request, f"You were signed out after {settings.IDLE_HOURS} hours without doing anything.")
            return self._answer(request)
        response = self._answer(request)
        if now - seen > AGAIN_AFTER and not is_sheet and request.user.is_authenticated:
            response.set_signed_cookie(
                COOKIE,
                str(now),
                salt=_salt(request),
                max_age=DAY,
                httponly=True,
                samesite="Lax",
                secure=settings.SESSION_COOKIE_SECURE,
            )
        return response

    def _answer(self, request: HttpRequest) -> HttpResponseBase:
        response: HttpResponse = self.get_response(request)
        return response


def _salt(request: HttpRequest) -> str:
    return f"seen {request.session.session_key}"


def _seen(request: HttpRequest) -> int:
    """When whoever is signed in last did something: what the cookie says, else when they signed in."""
    since = int(request.session.get(SINCE, 0))
    try:
        return max(since, int(str(request.get_signed_cookie(COOKIE, salt=_salt(request)))))
    except (KeyError, BadSignature, ValueError):
        return since


def begins(request: HttpRequest, user: User, **given: Any) -> None:
    request.session[SINCE] = int(time.time())


def end_all(user: User, but: str | None = None) -> int:
    """End every session of somebody, `but` one by its key; returns how many."""
    from allauth.usersessions.models import UserSession

    rows = UserSession.objects.filter(user=user).exclude(session_key=but)
    keys = list(rows.values_list("session_key", flat=True))
    rows.delete()
    ended, _ = Session.objects.filter(session_key__in=keys).delete()
    return ended


def listen() -> None:
    user_logged_in.connect(begins, dispatch_uid="session_begins")
