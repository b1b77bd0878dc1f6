"""The entry for a WSGI server: static files are gathered, and the book is held open."""

import os
import sqlite3
from collections.abc import Iterable
from typing import Any

import django
from django.core.wsgi import get_wsgi_application
from django.db import connection

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdesk.settings")
django.setup()

from clubdesk import statics  # noqa: E402 - it asks the settings

statics.gather()
site = get_wsgi_application()
_held: dict[int, sqlite3.Connection] = {}


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    if os.getpid() not in _held and connection.vendor == "sqlite":
        hold_open(str(connection.settings_dict["NAME"]))
    return site(environ, start_response)


def hold_open(book: str) -> None:
    """Keep a connection to the file of the book as long as this process lives, besides those that come and go.

    The last connection to close takes SQLite's log and its index with it. Where the disk is full there is no room to
    make them again, and then nobody could even read; where it is not, every request would pay for it.
    """
    try:
        kept = sqlite3.connect(book, check_same_thread=False)
        kept.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.Error:
        return  # the next request tries again
    _held[os.getpid()] = kept


def let_go() -> None:
    """Close what `hold_open` keeps, as the process's end does by itself."""
    for kept in (_held.pop(pid) for pid in list(_held)):
        kept.close()
