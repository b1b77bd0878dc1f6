"""Verbs: the only code that changes anything. Each names its permission once, beside it, and stands in one register.

Pages, buttons, bulk actions and commands ask the verb who may; nobody else writes a permission down for it.
"""

import functools
import inspect
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, nullcontext
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TypeVar, cast

from django.contrib.auth.models import User
from django.db import transaction

from clubdesk.errors import Refused

SHELL_USER = "shell"
"""Whoever types commands on the machine itself, and the families' own pages; cannot sign in, and may everything."""
NOBODY = "nobody"
"""The permission of a verb that no role has: time, a command, or a family's own page does it."""

Act = TypeVar("Act", bound=Callable[..., object])
_by: ContextVar[User | None] = ContextVar("who acts", default=None)
_inside: ContextVar[bool] = ContextVar("inside a verb", default=False)
_in_whole: ContextVar[bool] = ContextVar("inside what is undone as a whole", default=False)


@dataclass(frozen=True)
class Verb:
    """A verb of the register: its dotted name, who may, what its page is called, and what it takes.

    One that is not `whole` is a transaction a part, so that it holds no lock that somebody waits for.
    """

    name: str
    permission: str
    title: str
    parameters: Mapping[str, inspect.Parameter]
    function: Callable[..., object]
    whole: bool = True


VERBS: dict[str, Verb] = {}


def verb(*, permission: str, title: str, whole: bool = True) -> Callable[[Act], Act]:
    """Make a keyword-only function a verb: atomic if `whole`, registered, and Refused to whoever may not do it.

    A verb that another verb calls asks nobody again: who may do the whole may do its parts. Nor does it take a
    savepoint, as `part` says.
    """

    def make(function: Act) -> Act:
        @functools.wraps(function)
        def act(*args: object, **given: object) -> object:
            with transaction.atomic(savepoint=not _in_whole.get()) if whole else nullcontext():
                if not _inside.get():
                    _refuse_stranger(given.get("by"), permission, title)
                with _acted_by(given.get("by")), _marked(_inside), _marked(_in_whole) if whole else nullcontext():
                    return function(*args, **given)

        name = f"{_room_of(function.__module__)}.{function.__name__}"
        VERBS[name] = Verb(name, permission, title, inspect.signature(function).parameters, act, whole)
        act.verb = VERBS[name]  # type: ignore[attr-defined]
        return cast(Act, act)

    return make


def part(function: Act) -> Act:
    """Make a function atomic: a transaction of its own, or a part of what calls it, without a savepoint.

    What is refused inside a verb undoes all of the verb. Whoever catches it there and goes on writes
    `with transaction.atomic()` around the part, so that this alone is undone.
    """

    @functools.wraps(function)
    def done(*args: object, **given: object) -> object:
        with transaction.atomic(savepoint=not _in_whole.get()), _marked(_in_whole):
            return function(*args, **given)

    return cast(Act, done)


@contextmanager
def _marked(mark: ContextVar[bool]) -> Iterator[None]:
    token = mark.set(True)
    try:
        yield
    finally:
        mark.reset(token)


@contextmanager
def _acted_by(by: object) -> Iterator[None]:
    token = _by.set(_by.get() or (by if isinstance(by, User) else None))
    try:
        yield
    finally:
        _by.reset(token)


def acting() -> User | None:
    """Who does the outermost verb that is being done and says so; None outside of verbs."""
    return _by.get()


def _room_of(module: str) -> str:
    """“fees” of “clubdesk.fees.services.charging”."""
    parts = module.split(".")
    return parts[(parts.index("services") if "services" in parts else len(parts) - 1) - 1]


def verb_of(function: Callable[..., object]) -> Verb:
    """The register's line of a verb. Raises LookupError for a function that is none."""
    found = getattr(function, "verb", None)
    if not isinstance(found, Verb):
        raise LookupError(f"{function!r} is no verb; put @verb(permission=…, title=…) above it.")
    return found


def may(user: object, permission: str) -> bool:
    """Whether somebody may do what needs `permission`; the shell's user may everything."""
    if not isinstance(user, User):
        return False
    return user.username == SHELL_USER or user.has_perm(permission)


def shell_user() -> User:
    """Whoever types commands on the machine itself; cannot sign in."""
    user, created = User.objects.get_or_create(username=SHELL_USER, defaults={"is_active": False})
    if created:
        user.set_unusable_password()
        user.save()
    return user


def _refuse_stranger(by: object, permission: str, title: str) -> None:
    if by is not None and not may(by, permission):
        raise Refused(f"{title}: your sign-in may not do that. Ask an administrator for the role, or somebody who may.")
