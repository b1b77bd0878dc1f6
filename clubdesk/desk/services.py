"""Verbs of the desk: beginning a club's books, signing people in, and what time alone changes."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group, User
from django.db import transaction
from django.db.models import Q

from clubdesk import rooms
from clubdesk.desk.models import Regular, Seen, Upkeep
from clubdesk.desk.roles import make_roles
from clubdesk.desk.signin import invitations
from clubdesk.desk.signin.record import note
from clubdesk.desk.signin.sessions import end_all
from clubdesk.errors import Refused
from clubdesk.guards import one_at_a_time
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Book
from clubdesk.ledger.services import import_chart
from clubdesk.verbs import NOBODY, SHELL_USER, verb

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


@verb(permission="auth.add_user", title="Invite somebody to sign in")
def invite(*, name: str, email: str, role: Group | None, by: User) -> User:
    """Somebody who may sign in once they have chosen how, by the link that goes to `email`; no role: administrator.

    Raises Refused for an address that somebody signs in with already, and where no administrator adds another.
    """
    email = email.strip().lower()
    one_at_a_time("sign-ins")
    if User.objects.filter(Q(email__iexact=email) | Q(username__iexact=email)).exists():
        raise Refused(f"Somebody signs in with {email} already; open their page instead.")
    if role is None and not (by.is_superuser or by.username == SHELL_USER):
        raise Refused("Only an administrator makes another administrator.")
    user = _with_no_password(email, email, name, is_superuser=role is None)
    if role is not None:
        user.groups.add(role)
    note(Seen.INVITED, user, None, f"{role or 'administrator'}, by {by}")
    transaction.on_commit(lambda: invitations.send(user))
    return user


def _with_no_password(username: str, email: str, name: str, *, is_superuser: bool) -> User:
    given, _, family = name.strip().partition(" ")
    user = User(username=username, email=email, first_name=given, last_name=family)
    user.is_staff, user.is_superuser = True, is_superuser
    user.set_unusable_password()
    user.save()
    return user


@verb(permission="auth.change_user", title="Send the invitation again")
def invite_again(*, user: User, by: User) -> User:
    """A new link in place of the earlier one. Raises Refused for who has no e-mail or may not sign in any more."""
    if not user.email or not user.is_active:
        raise Refused("There must be an e-mail address, and they must be active.")
    refuse_beyond(user, by)
    user.set_unusable_password()
    user.save(update_fields=["password"])
    note(Seen.INVITED, user, None, f"again, by {by}")
    transaction.on_commit(lambda: invitations.send(user))
    return user


@verb(permission="auth.change_user", title="Take their second step away")
def forget_second_step(*, user: User, by: User) -> User:
    """For who has lost phone and recovery codes: make sure that it is they. Where their role needs one, the next
    sign-in asks for a new one; their sessions end.
    """
    refuse_beyond(user, by)
    Authenticator.objects.filter(user=user).delete()
    end_all(user)
    note(Seen.SECOND_STEP, user, None, f"all taken away, by {by}")
    return user


@verb(permission="auth.change_user", title="End their sessions everywhere")
def end_sessions(*, user: User, by: User) -> int:
    """Whoever is signed in as the user is so no more; returns in how many browsers."""
    ended = end_all(user)
    note(Seen.ENDED, user, None, f"{ended}, by {by}")
    return ended


def refuse_beyond(user: User, by: User) -> None:
    """Raise Refused where somebody who is no administrator would change how an administrator signs in."""
    if user.is_superuser and not (by.is_superuser or by.username == SHELL_USER):
        raise Refused("Only an administrator changes how an administrator signs in.")


@dataclass(frozen=True)
class LetIn:
    """Somebody who chooses anew how to sign in, and the link by which they do."""

    user: User
    link: str


@verb(permission=NOBODY, title="Let somebody choose anew how to sign in")
def let_in_again(*, username: str, by: User) -> LetIn:
    """Password and second step go, and every session ends; for who has lost both and is the only administrator.

    Raises Refused for a name that nobody signs in with.
    """
    user = User.objects.filter(username=username, is_active=True).exclude(username=SHELL_USER).first()
    if user is None:
        raise Refused(f"Nobody signs in as {username}.")
    user.set_unusable_password()
    user.save(update_fields=["password"])
    forget_second_step(user=user, by=by)
    return LetIn(user, invitations.link_of(user))


@dataclass(frozen=True)
class Started:
    """A book just begun, and the link by which its first administrator chooses how to sign in."""

    book: Book
    administrator: User
    link: str


@verb(permission=NOBODY, title="Start a club's books, with their first administrator")
def start_books_with_administrator(*, club_name: str, year_start: date, by: User) -> Started:
    """The same as `start_books`, and one administrator, who invites all others; there is no password until then."""
    book = start_books(club_name=club_name, year_start=year_start, by=by)
    administrator = _with_no_password("administrator", "", "", is_superuser=True)
    return Started(book, administrator, invitations.link_of(administrator))


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
    note_upkeep(what=Regular.NIGHT, on=on)
    return Nightly(counts, tuple(not_yet))


@verb(permission=NOBODY, title="Note that the machine has done its work")
def note_upkeep(*, what: Regular, on: date) -> Upkeep:
    """The night of that day is done, or the book was backed up on it."""
    return Upkeep.objects.create(what=what, on=on)
