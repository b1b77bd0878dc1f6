"""The book itself: beginning it, its place in the queue, and what every verb asks first."""

import uuid
from typing import TypeVar

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.ledger.models import Book, Document, Fund, FundRole
from clubdesk.verbs import NOBODY, verb

Written = TypeVar("Written", bound=Document)


def written(model: type[Written], key: uuid.UUID | None) -> Written | None:
    """The document that was written under `key` before, so that a verb called twice does its work once."""
    return model._default_manager.filter(key=key).first() if key else None


def lock_book() -> Book:
    """Take the book's place in the queue: until the transaction ends nobody else can post."""
    for book in Book.objects.select_for_update(of=("self",), no_key=True):
        return book
    raise Refused("No book has been started yet; run start_books first.")


@verb(permission=NOBODY, title="Start a book")
def start_book(*, club_name: str, currency: str, by: User, is_demo: bool = False) -> Book:
    """Begin an empty book: its name, its one currency, the general fund and the entry fund.

    Raises Refused where a book has been started already.
    """
    if Book.objects.exists():
        raise Refused("A book has been started here already; it is never started twice.")
    if not club_name.strip():
        raise Refused("Say the club's name.")
    book = Book.objects.create(pk=1, club_name=club_name.strip(), currency=currency, is_demo=is_demo)
    Fund.objects.create(code=FundRole.GENERAL, name=FundRole.GENERAL.label)
    Fund.objects.create(code=FundRole.ENTRY, name=FundRole.ENTRY.label, restricted=True)
    return book
