"""Verbs of the desk: beginning a club's books, signing people in, and what time alone changes."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group, User

from clubdesk import rooms
from clubdesk.desk.roles import make_roles
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Book
from clubdesk.ledger.services import import_chart
from clubdesk.rooms import ROLES
from clubdesk.verbs import NOBODY, verb

CHART = settings.BASE_DIR / "fixtures" / "chart.csv"


@verb(permission=NOBODY, title="Start a club's books")
def start_books(*, club_name: str, year_start: date, by: User, is_demo: bool = False) -> Book:
    """Everything an empty book needs: chart, funds, what the rooms need of it, roles, and the first financial year."""
    book = ledger.start_book(club_name=club_name, currency=settings.CLUB_CURRENCY, by=by, is_demo=is_demo)
    import_chart(content=CHART.read_bytes(), by=by)
    for room in rooms.in_order():
        for begin in room.begins:
            begin()
    ledger.open_year(first_day=year_start, by=by)
    make_roles()
    return book


@verb(permission=NOBODY, title="Add a sign-in")
def add_user(*, username: str, role: str = "", password: str = "", full_name: str = "") -> tuple[User, str]:
    """Somebody who can sign in, with one role or (where `role` is blank) as the keeper of the site.

    Returns the user and the password, which is made up where none is given and is shown this once.
    """
    password = password or secrets.token_urlsafe(9)
    given, _, family = full_name.partition(" ")
    user = get_user_model().objects.create_user(
        username, password=password, is_staff=True, is_superuser=not role, first_name=given, last_name=family
    )
    if role:
        user.groups.set([Group.objects.get(name=role)])
    return user, password


class SignIn(NamedTuple):
    """Somebody who can sign in; `role` is blank for the keeper of the site."""

    user: User
    password: str
    role: str


@dataclass(frozen=True)
class Started:
    """A book just begun, and who may sign in first."""

    book: Book
    sign_ins: tuple[SignIn, ...]


@verb(permission=NOBODY, title="Start a club's books, with a sign-in for each role")
def start_books_with_sign_ins(*, club_name: str, year_start: date, by: User) -> Started:
    """The same as `start_books`, and one sign-in a role, with passwords that are shown this once."""
    book = start_books(club_name=club_name, year_start=year_start, by=by)
    return Started(book, tuple(_first_sign_in(role) for role in ("", *ROLES)))


def _first_sign_in(role: str) -> SignIn:
    user, password = add_user(username=role.lower().replace(" ", "-") or "keeper", role=role)
    return SignIn(user, password, role)


@dataclass(frozen=True)
class Nightly:
    """What a night changed, by the words that say it, and a sentence for each thing that could not be done yet."""

    counts: Mapping[str, int]
    not_yet: tuple[str, ...] = ()

    @property
    def in_words(self) -> str:
        """“2 families reminded, 0 fees became income.”"""
        return ", ".join(f"{count} {words}" for words, count in self.counts.items()) + "."


@verb(permission=NOBODY, title="Do what time alone changes", whole=False)
def nightly(*, on: date, by: User) -> Nightly:
    """What time alone changes, as the rooms say, from the top floor down. Doing it twice changes nothing.

    Each part is a transaction of its own, so that a night holds no lock that the day waits for; a night that
    was interrupted is done by the next.
    """
    counts: dict[str, int] = {}
    not_yet: list[str] = []
    for room in reversed(list(rooms.in_order())):
        for night in room.each_night:
            done = night.run(on, by)
            not_yet += done.not_yet
            if night.told:
                counts[night.told] = counts.get(night.told, 0) + done.count
    return Nightly(counts, tuple(not_yet))
