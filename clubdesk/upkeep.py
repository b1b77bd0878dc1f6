"""What a database needs now and then besides its rows."""

import os
import sqlite3
from collections.abc import Iterator
from datetime import date

from django.apps import apps
from django.db import connection
from django.db.models import Max

from clubdesk import faults
from clubdesk.moment import once

MOST_ROWS_READ = 1000
"""Of each index; enough to tell a short way to an answer from a long one."""


def learn_sizes() -> None:
    """Let SQLite look at how its tables have grown, by which it finds its way; PostgreSQL does so by itself.

    A book of ten years was read up to forty times as fast for it. Source: https://www.sqlite.org/lang_analyze.html
    """
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA analysis_limit = {MOST_ROWS_READ}")
            cursor.execute("ANALYZE")


@once
def last_done() -> dict[str, date]:
    """On which day the machine last did a night, a backup and a check of the books, as the desk keeps it."""
    rows = apps.get_model("desk", "Upkeep")._default_manager.order_by()
    return dict(rows.values_list("what").annotate(Max("on")))


MOST_DAMAGE_TOLD = 20


def damage() -> Iterator[str]:
    """A sentence for each thing that SQLite finds wrong with its file; PostgreSQL looks after its own.

    It compares every row with every index, so it sees a changed byte in whatever is held twice (`clubdesk.twice`).
    Source: https://www.sqlite.org/pragma.html#pragma_integrity_check
    """
    if connection.vendor != "sqlite":
        return
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA integrity_check({MOST_DAMAGE_TOLD})")
            found = [line for (line,) in cursor.fetchall() if line != "ok"]
    except faults.OF_DATABASE as error:
        if faults.kind_of(error) is not faults.Kind.DAMAGED:
            raise
        found = [str(error)]
    if found:
        yield faults.DAMAGED
    yield from (f"SQLite says of the file: {line}." for line in found)


_found: list[str] = []


def look() -> list[str]:
    """The `damage`, remembered for `is_damaged`; asked whenever a server starts."""
    _found[:] = damage()
    return list(_found)


def is_damaged() -> bool:
    """Whether the last look found the file damaged; asks the database nothing."""
    return bool(_found)


_held: dict[int, sqlite3.Connection] = {}
"""By the number of the process."""


def hold_open() -> None:
    """Keep a connection to an SQLite book as long as this process lives, besides those that come and go.

    The last connection to close takes SQLite's log and its index with it. Where the disk is full there is no room to
    make them again, and then nobody could even read; where it is not, every request would pay for it.
    """
    if connection.vendor != "sqlite" or os.getpid() in _held:
        return
    try:
        kept = sqlite3.connect(str(connection.settings_dict["NAME"]), check_same_thread=False)
        kept.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.Error:
        return  # the next request tries again
    _held[os.getpid()] = kept


def let_go() -> None:
    """Close what `hold_open` keeps, as the process's end does by itself."""
    for kept in (_held.pop(pid) for pid in list(_held)):
        kept.close()
