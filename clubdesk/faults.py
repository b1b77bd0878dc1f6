"""What went wrong, told in one place: the database was busy, a disk is full, the file of the book is damaged, the book
refused, or it is a fault.

A fault gets a short id, which stands on the page and in the log beside the traceback. Nothing here asks the database.
"""

import errno
import logging
import sqlite3
from collections.abc import Iterator
from enum import Enum

from django.db import DatabaseError, DataError, IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string

from clubdesk import logs, unique
from clubdesk.errors import Refused

log = logging.getLogger(__name__)

OF_DATABASE = (DatabaseError, UnicodeDecodeError)
"""What a question to the database raises; the second where SQLite's own words are spoilt (`MALFORMED`)."""
COULD_NOT = (Refused, IntegrityError, DataError, OperationalError)
"""What a form catches and says by `sentence_of`, with everything typed still in it."""
BUSY = "Somebody else was writing at the same moment. Nothing was saved; press the button again."
FULL = "The disk of the computer is full, so nothing was saved. Whoever looks after the computer must make room first."
DAMAGED = (
    "The file of the book is damaged. Whoever looks after the computer must put back its last backup; until then nobody"
    " should write anything down here."
)


class Kind(Enum):
    """What is wrong: a moment's crowding, no room on the disk, a damaged file, tables of another version, or a fault of
    anything else.
    """

    BUSY = "busy"
    FULL = "full"
    DAMAGED = "damaged"
    VERSION = "version"
    FAULT = "fault"

    @property
    def status(self) -> int:
        """The HTTP status of the page that says it."""
        return {Kind.BUSY: 503, Kind.VERSION: 503, Kind.FULL: 507}.get(self, 500)


BY_SQLITE = {
    sqlite3.SQLITE_BUSY: Kind.BUSY,
    sqlite3.SQLITE_LOCKED: Kind.BUSY,
    sqlite3.SQLITE_PROTOCOL: Kind.BUSY,
    sqlite3.SQLITE_FULL: Kind.FULL,
    sqlite3.SQLITE_CORRUPT: Kind.DAMAGED,
    sqlite3.SQLITE_NOTADB: Kind.DAMAGED,
}
"""By the lowest byte of SQLite's code."""
MALFORMED = b"malformed database schema"
"""How SQLite begins where the words of its own tables are spoilt; Python cannot read the rest, and says only that."""
NO_TEXT = "Could not decode to UTF-8"
"""How Python begins where letters that SQLite gave are none; that error has no code."""
NO_ROOM_TO_WRITE = {
    sqlite3.SQLITE_IOERR_WRITE,
    sqlite3.SQLITE_IOERR_FSYNC,
    sqlite3.SQLITE_IOERR_SHMSIZE,
    sqlite3.SQLITE_IOERR_SHMOPEN,
}
"""SQLite's whole codes of a write that the disk did not take; a read that it did not give is a fault."""
BY_POSTGRESQL = {
    "55P03": Kind.BUSY,  # lock_not_available
    "40P01": Kind.BUSY,  # deadlock_detected
    "40001": Kind.BUSY,  # serialization_failure
    "53300": Kind.BUSY,  # too_many_connections
    "53100": Kind.FULL,  # disk_full
}
"""Source: PostgreSQL 15, appendix A, error codes."""
POOL_IS_BUSY = ("PoolTimeout", "TooManyRequests")
"""Names of psycopg_pool's errors, which is not loaded where the book is an SQLite file."""


def kind_of(error: BaseException) -> Kind:
    """What the error, or the database's or system's own error beneath it, is."""
    found = (_kind_by_itself(each) for each in _beneath(error))
    return next((kind for kind in found if kind), Kind.FAULT)


def _beneath(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__


def _kind_by_itself(error: BaseException) -> Kind | None:
    if isinstance(error, sqlite3.Error):
        if str(error).startswith(NO_TEXT):
            return Kind.DAMAGED
        code = getattr(error, "sqlite_errorcode", 0)
        return Kind.FULL if code in NO_ROOM_TO_WRITE else BY_SQLITE.get(code & 0xFF)
    if isinstance(error, UnicodeDecodeError):
        return Kind.DAMAGED if error.object.startswith(MALFORMED) else None
    if isinstance(error, OSError):
        return Kind.FULL if error.errno in (errno.ENOSPC, errno.EDQUOT) else None
    if type(error).__name__ in POOL_IS_BUSY:
        return Kind.BUSY
    return BY_POSTGRESQL.get(getattr(error, "sqlstate", None) or "")


LACKING = ("no such table", "no such column"), ("42P01", "42703")
"""How SQLite's words begin, and PostgreSQL's codes, where a table or a column is not there."""


def lacks_a_table_or_column(error: BaseException) -> bool:
    """Whether the database has not what the program asks it for."""
    words, codes = LACKING
    return any(
        (isinstance(each, sqlite3.OperationalError) and str(each).startswith(words))
        or getattr(each, "sqlstate", None) in codes
        for each in _beneath(error)
    )  # fmt: skip


def is_busy(error: BaseException) -> bool:
    """Whether the same may succeed a moment later."""
    return kind_of(error) is Kind.BUSY


def sentence_of(error: Exception) -> str:
    """What a person is told whom a rule, a moment's crowding or a full disk stopped; a fault is raised again."""
    if isinstance(error, Refused):
        return error.sentence
    if sentence := unique.sentence_of(error):
        return f"{sentence} Nothing was saved."
    if isinstance(error, IntegrityError | DataError):
        reason = str(error).splitlines()[0].strip().rstrip(".")
        return f"The book itself refused this, and nothing was saved: {reason}."
    kind = kind_of(error)
    if kind in (Kind.FAULT, Kind.DAMAGED):
        raise error
    return BUSY if kind is Kind.BUSY else FULL


def noted(error: BaseException, request: HttpRequest) -> str:
    """Write the error to the log, a fault with its traceback; returns a fault's id, else nothing.

    The id is the request's own. The administrator is written to of a fault.
    """
    where, fault = f"{request.method} {logs.address_of(request)}", logs.id_of(request)
    if found := _noted_at(where, error, fault):
        logs.tell_administrator(found, where, error)
    return found


def _noted_at(where: str, error: BaseException, fault: str) -> str:
    kind = kind_of(error)
    if kind is Kind.BUSY:
        log.warning("busy at %s: %s", where, error)
        return ""
    if kind is Kind.FULL:
        log.error("no room on the disk at %s: %s", where, error)
        return ""
    if kind is Kind.DAMAGED:
        log.error("the file of the book is damaged, seen at %s: %s", where, error)
        return ""
    log.error("fault %s at %s", fault, where, exc_info=error)
    return fault


def said(error: BaseException, request: HttpRequest) -> str:
    """The error in a sentence that fits anywhere, a fault with the id by which the log has it; notes it there."""
    return _in_words(error, noted(error, request))


def said_by_command(command: str, error: Exception) -> str:
    """The same for whoever typed a command; what needs no telling to a person is not in the log either."""
    if isinstance(error, IntegrityError | DataError):
        return sentence_of(error)
    return _in_words(error, _noted_at(command, error, logs.new_id()) if kind_of(error) is Kind.FAULT else "")


def _in_words(error: BaseException, fault: str) -> str:
    kind = kind_of(error)
    if kind is Kind.BUSY:
        return "Somebody else was writing at the same moment; nothing was saved."
    if kind is Kind.FULL:
        return FULL
    if kind is Kind.DAMAGED:
        return DAMAGED
    return f"Something in the program failed. Tell whoever looks after the site that it was fault {fault}."


HEADINGS = {
    Kind.BUSY: "Somebody else was writing",
    Kind.FULL: "No room is left",
    Kind.DAMAGED: "The file of the book is damaged",
    Kind.VERSION: "The program and the book are of two versions",
    Kind.FAULT: "This did not work",
}


def damaged(request: HttpRequest) -> HttpResponse:
    """The answer to whoever would write while the file of the book is known to be damaged."""
    return _told(request, Kind.DAMAGED, DAMAGED, "Nothing was saved.")


def of_another_version(request: HttpRequest, sentence: str) -> HttpResponse:
    """The answer to everybody while the tables are not those of the program."""
    return _told(request, Kind.VERSION, sentence, "Nothing of the book is lost; this page goes by itself afterwards.")


def answer(request: HttpRequest, error: BaseException) -> HttpResponse:
    """The page that says what went wrong and what to do, or its sentence where a script asks for JSON; notes it too."""
    kind, sentence = kind_of(error), said(error, request)
    return _told(request, kind, sentence, _what_to_do(kind, reads=request.method in ("GET", "HEAD")))


def _told(request: HttpRequest, kind: Kind, sentence: str, to_do: str) -> HttpResponse:
    if request.get_preferred_type(["text/html", "application/json"]) == "application/json":
        return JsonResponse({"sentence": sentence}, status=kind.status)
    page = render_to_string("fault.html", {"heading": HEADINGS[kind], "sentence": sentence, "to_do": to_do})
    return HttpResponse(page, status=kind.status)


def _what_to_do(kind: Kind, reads: bool) -> str:
    if kind is Kind.FULL:
        return "What was saved before is safe, and what is only read can still be read."
    if kind is Kind.DAMAGED:
        return ""
    if kind is Kind.BUSY:
        return "Wait a moment, then load the page again." if reads else "Go back and press the button again."
    return "" if reads else "Look first whether it was saved, before you send it again."
