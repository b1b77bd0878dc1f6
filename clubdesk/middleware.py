"""What every request passes through."""

import sys
from collections.abc import Callable

from django.contrib.sessions.middleware import SessionMiddleware
from django.db import DataError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import render

from clubdesk.faults import Kind, answer, kind_of, noted


class Compressed(GZipMiddleware):
    """Pages and other text; files that are compressed by their kind go out as they are."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        kind = response.get("Content-Type", "")
        is_text = kind.startswith(("text/", "application/json", "application/javascript"))
        return super().process_response(request, response) if is_text else response


class InWords:
    """What no form says: a moment's crowding, a full disk, or a number beyond what the database counts to."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, OverflowError | DataError):
            return render(request, "400.html", status=400)
        return None if kind_of(exception) is Kind.FAULT else answer(request, exception)


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


def fault(request: HttpRequest) -> HttpResponse:
    """The answer to whatever was raised and nobody caught (Django's `handler500`)."""
    error = sys.exception()
    assert error is not None
    return answer(request, error)
