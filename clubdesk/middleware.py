"""What every request passes through."""

import logging
from collections.abc import Callable

from django.db import DatabaseError, DataError, connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from clubdesk import guards

ONLY_LOOKS = ("GET", "HEAD", "OPTIONS")
Answer = Callable[[HttpRequest], HttpResponse]


class NumbersNoRowHas:
    """A number beyond what the database counts to, sent by hand, gets a plain sentence in place of an error page."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, OverflowError | DataError):
            return render(request, "400.html", status=400)
        return None


class WritesNeedGuards:
    """While the database lacks a guard that was missed at the start, nothing is written; one looks and signs in."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in ONLY_LOOKS and guards.are_lacking(connection) and not _signs_in_or_out(request):
            return render(request, "503.html", status=503)
        return self.get_response(request)


def _signs_in_or_out(request: HttpRequest) -> bool:
    return request.path in (reverse("admin:login"), reverse("admin:logout"))


def look_at_guards() -> None:
    """Say in the log which guards the database lacks; asked whenever a server starts."""
    log = logging.getLogger(__name__)
    try:
        lacking = guards.look(connection)
    except DatabaseError as error:
        log.error("The database could not be asked whether its guards stand: %s", error)
        return
    for sentence in lacking:
        log.error(sentence)
    if lacking:
        log.error("Nothing can be written on this site until they are back.")
