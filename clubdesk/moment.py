"""One moment: whatever a report, a check or a file asks of the book is answered as it stood at one time."""

import functools
import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import timedelta
from typing import Any, ParamSpec, TypeVar

from django.core.cache import caches
from django.db import connection, transaction

Asked = ParamSpec("Asked")
Answer = TypeVar("Answer")
_answers: ContextVar[dict[object, Any] | None] = ContextVar("answers", default=None)


@contextmanager
def asking_once() -> Iterator[None]:
    """Inside, what is marked `once` is asked but once of the same; for a page that many rooms fill and that reads."""
    before = _answers.set({})
    try:
        yield
    finally:
        _answers.reset(before)


def once(function: Callable[Asked, Answer]) -> Callable[Asked, Answer]:
    """A question whose answer stays while the page is put together; its arguments are plain values."""

    @functools.wraps(function)
    def asked(*args: Asked.args, **given: Asked.kwargs) -> Answer:
        answers, key = _answers.get(), (function, args, tuple(given.items()))
        if answers is None:
            return function(*args, **given)
        if key not in answers:
            answers[key] = function(*args, **given)
        found: Answer = answers[key]
        return found

    return asked


def remembered_for(how_long: timedelta) -> Callable[[Callable[Asked, Answer]], Callable[Asked, Answer]]:
    """A slow question, of plain values, whose answer may be so old: each process asks it at most once in that time."""

    def keeping(function: Callable[Asked, Answer]) -> Callable[Asked, Answer]:
        @functools.wraps(function)
        def asked(*args: Asked.args, **given: Asked.kwargs) -> Answer:
            return remembered(function, (args, given), lambda: function(*args, **given), how_long)

        return asked

    return keeping


def remembered(function: Callable[..., object], key: object, ask: Callable[[], Answer], how_long: timedelta) -> Answer:
    """What `ask` gives, or gave this process within that time under the same key."""
    told = f"{function.__module__}.{function.__qualname__} {key}"
    name, answers = hashlib.sha256(told.encode()).hexdigest(), caches["figures"]
    found: tuple[Answer] | None = answers.get(name)
    if found is None:
        found = (ask(),)
        answers.set(name, found, how_long.total_seconds())
    return found[0]


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
