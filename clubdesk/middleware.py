"""What every request passes through."""

from collections.abc import Callable

from django.db import DataError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


class NumbersNoRowHas:
    """A number beyond what the database counts to, sent by hand, gets a plain sentence in place of an error page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, OverflowError | DataError):
            return render(request, "400.html", status=400)
        return None
