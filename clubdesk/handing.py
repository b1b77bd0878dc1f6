"""What leaves the book as a file, or is seen in full where it is masked else: said here, written down by the desk.

A page answers at one moment, in which nothing can be written; so what it hands out is noted with the request, and
written once the answer is made. Where the disk has no room for it, the log has it, and the file is given all the same:
whoever looks after a computer that is full needs its files.
"""

import logging
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction
from django.dispatch import Signal
from django.http import HttpRequest, HttpResponse

from clubdesk import guards, upkeep
from clubdesk.faults import Kind, kind_of

log = logging.getLogger(__name__)
handed_out = Signal()
"""Sent with `by`, who was given it, and `act`, what it was."""

PDF, CSV = "application/pdf", "text/csv; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True)
class Handed:
    """What somebody did, said after their name without anybody else's: “exported the list of members”; how many rows
    went out, None where it is no list; and the number of the family whose it is, None where it is of many.
    """

    what: str
    rows: int | None = None
    family: int | None = None


def hand_out(request: HttpRequest, what: str, *, rows: int | None = None, family: int | None = None) -> None:
    """Let it be written down, once the page is answered, that whoever asks for it was given this."""
    request.handed = [*_of(request), Handed(what, rows, family)]  # type: ignore[attr-defined]


def file_answer(
    request: HttpRequest,
    content: bytes = b"",
    *,
    kind: str,
    name: str,
    what: str = "",
    rows: int | None = None,
    family: int | None = None,
    is_shown: bool = False,
) -> HttpResponse:
    """A file as the answer, `is_shown` in the browser or else stored, and the note that it was given.

    Nothing is noted where `what` is blank, as where a family itself opens its own paper.
    """
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = disposition(name, is_shown=is_shown)
    if what:
        hand_out(request, what, rows=rows, family=family)
    return response


def disposition(name: str, *, is_shown: bool = False) -> str:
    return f'{"inline" if is_shown else "attachment"}; filename="{name}"'


def note_all(request: HttpRequest) -> None:
    """Write down all that the request was given."""
    for act in _of(request):
        note(getattr(request, "user", None), act)


def note(by: object, act: Handed) -> None:
    """Write down that somebody was given something; on a book that takes no writing, in the log alone."""
    if upkeep.is_damaged() or guards.are_lacking(connection):
        log.warning("%s %s", by, act.what)
        return
    try:
        with transaction.atomic():
            handed_out.send(sender=Handed, by=by, act=act)
    except Exception as error:
        if kind_of(error) is Kind.FAULT:
            raise
        log.warning("%s %s, which could not be written down: %s", by, act.what, error)


def _of(request: HttpRequest) -> list[Any]:
    found: list[Any] = getattr(request, "handed", [])
    return found
