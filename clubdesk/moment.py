"""One moment: whatever a report, a check or a file asks of the book is answered as it stood at one time."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection, transaction


@contextmanager
def one_moment() -> Iterator[None]:
    """All that is asked inside is answered as of the first question, whatever others write meanwhile; nobody waits.

    Nothing can be written inside. It is one transaction: on PostgreSQL REPEATABLE READ, on SQLite a deferred one, since
    the usual IMMEDIATE would keep everybody from writing. Inside a moment, or a transaction, it is a part of that. A
    verb that checks the books in its own transaction first locks the book, so that nobody posts until it ends; on
    PostgreSQL it may still see what others wrote without posting.
    """
    if connection.in_atomic_block:
        yield
        return
    with _deferred() if connection.vendor == "sqlite" else _repeatable():
        yield


@contextmanager
def _repeatable() -> Iterator[None]:
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        yield


@contextmanager
def _deferred() -> Iterator[None]:
    connection.ensure_connection()
    ours: Any = connection
    usual, ours.transaction_mode = ours.transaction_mode, "DEFERRED"
    try:
        _only_questions(True)
        with transaction.atomic():
            ours.transaction_mode = usual
            yield
    finally:
        ours.transaction_mode = usual
        if connection.connection is not None:
            _only_questions(False)


def _only_questions(only: bool) -> None:
    """Told to SQLite itself, in this process: it is no question."""
    connection.connection.execute(f"PRAGMA query_only = {'ON' if only else 'OFF'}")
