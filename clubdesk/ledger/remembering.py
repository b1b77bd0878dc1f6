"""Figures of the books that stay as they are until the next entry: a process keeps them beside the head they are of."""

import functools
from collections.abc import Callable
from datetime import timedelta
from typing import ParamSpec, TypeVar

from clubdesk.ledger.selectors import the_book
from clubdesk.moment import remembered

Asked = ParamSpec("Asked")
Figures = TypeVar("Figures")
A_DAY = timedelta(days=1)


def until_the_next_entry(function: Callable[Asked, Figures]) -> Callable[Asked, Figures]:
    """Reckon once what entries alone say, given plain values, for as long as no other entry is posted.

    Each entry has its own digest and is never changed, so that a figure is never older than the book. Where a
    month is locked or an account renamed nothing of it changes; an account that was posted to keeps its kind and role.
    """

    @functools.wraps(function)
    def asked(*args: Asked.args, **given: Asked.kwargs) -> Figures:
        book = the_book()
        key = (args, given, book.last_number, book.last_digest) if book else (args, given)
        return remembered(function, key, lambda: function(*args, **given), A_DAY)

    return asked
