"""What every request passes through."""

import json
import logging
import os
import sys
import traceback
from collections.abc import Callable

from django.conf import settings
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import DataError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.middleware.csrf import get_token
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import render
from django.urls import reverse
from django.views.csrf import csrf_failure

from clubdesk import guards, handing, schema, upkeep
from clubdesk.faults import OF_DATABASE, Kind, answer, damaged, kind_of, noted, of_another_version
from clubdesk.screens import again

SIGNING = (
    "account_login", "account_logout", "account_request_login_code", "account_confirm_login_code", "mfa_authenticate"
)  # fmt: skip
ONLY_LOOKS = ("GET", "HEAD", "OPTIONS")
Answer = Callable[[HttpRequest], HttpResponse]


class Compressed(GZipMiddleware):
    """Pages and other text; files that are compressed by their kind go out as they are."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        kind = response.get("Content-Type", "")
        is_text = kind.startswith(("text/", "application/json", "application/javascript"))
        return super().process_response(request, response) if is_text else response


class Needs:
    """What no page of ours asks a browser for; the camera, so that nothing photographs children behind anybody's back.

    Source: W3C, Permissions Policy.
    """

    NOTHING_OF = ("camera", "geolocation", "microphone", "payment", "usb", "bluetooth", "serial", "hid", "midi")

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", ", ".join(f"{each}=()" for each in self.NOTHING_OF))
        return response


class OneVersion:
    """While the tables are not of the program's version, whoever asks for a page is told so: else it would fail."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        sentence = schema.differs(connection)
        return of_another_version(request, sentence) if sentence else self.get_response(request)


class InWords:
    """What no form says: a moment's crowding, a full disk, a damaged file, or a number beyond what a database holds."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, OverflowError | DataError) or _is_nested_beyond_reading(exception):
            return render(request, "400.html", status=400)
        return None if kind_of(exception) is Kind.FAULT else answer(request, exception)


def _is_nested_beyond_reading(exception: Exception) -> bool:
    """Whether Python's own reader of JSON gave up: nothing that a page of ours sends is nested so deeply."""
    if not isinstance(exception, RecursionError):
        return False
    frames = [frame.f_code.co_filename for frame, _ in traceback.walk_tb(exception.__traceback__)]
    return frames[-1].startswith(os.path.dirname(json.__file__))


class Sessions(SessionMiddleware):
    """What was read or done is answered also where the session cannot be written, since that comes after it."""

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        try:
            return super().process_response(request, response)
        except Exception as raised:
            error = _beneath(raised)
            if kind_of(error) is Kind.FAULT:
                raise
            noted(error, request)
            return response


def _beneath(error: BaseException) -> BaseException:
    """What Django was handling when it raised the error: it does not say what kept a session from being saved."""
    while error.__context__ is not None:
        error = error.__context__
    return error


class WritesNeedGuards:
    """While the file is damaged, or lacks a guard that was missed at the start, one looks and signs in, no more."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method in ONLY_LOOKS or _signs_in_or_out(request):
            return self.get_response(request)
        if upkeep.is_damaged():
            return damaged(request)
        if guards.are_lacking(connection):
            return render(request, "503.html", status=503)
        return self.get_response(request)


def _signs_in_or_out(request: HttpRequest) -> bool:
    return request.path in {reverse(name) for name in SIGNING}


class NotesWhatIsHandedOut:
    """Who was given a file, or saw in full what is masked else, is written down once it is known that they were."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code < 400:
            handing.note_all(request)
        return response


class DemoStaysHome:
    """A demo, whose sign-ins share one printed password, is not served to the open internet."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.PUBLIC_HOSTS and again.is_demo():
            return render(request, "demo_stays_home.html", status=403)
        return self.get_response(request)


def stale(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The answer to a post whose token is of an earlier session (Django's `CSRF_FAILURE_VIEW`): a page, or, where a
    script asks for JSON, that it is so and the token as it is now. Only our own pages can read either.
    """
    if request.get_preferred_type(["text/html", "application/json"]) != "application/json":
        return csrf_failure(request, reason)
    sentence = "Somebody signed in or out meanwhile; send it once more."
    return JsonResponse({"sentence": sentence, "stale": True, "token": get_token(request)}, status=403)


def fault(request: HttpRequest) -> HttpResponse:
    """The answer to whatever was raised and nobody caught (Django's `handler500`)."""
    error = sys.exception()
    assert error is not None
    return answer(request, error)


def look_at_guards() -> None:
    """Say in the log what of the file is damaged and which guards it lacks; asked whenever a server starts."""
    log = logging.getLogger(__name__)
    try:
        for sentence in upkeep.look():
            log.error(sentence)
        other = "" if upkeep.is_damaged() else schema.look(connection)
        lacking = [] if other else guards.look(connection)
    except OF_DATABASE as error:
        log.error("The database could not be asked whether its guards stand: %s", error)
        return
    for sentence in [other] if other else lacking:
        log.error(sentence)
    if lacking:
        log.error("Nothing can be written on this site until they are back.")
