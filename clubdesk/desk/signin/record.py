"""What is written down of signing in, read by the auditor; each line also goes to the log.

Which role somebody has, and what a role may do, is recorded with all other changes (`desk/recording.py`).
"""

import logging
from typing import Any

from allauth.account import signals as account
from allauth.account.adapter import get_adapter
from allauth.core import context
from allauth.mfa import signals as mfa
from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_out
from django.core.exceptions import PermissionDenied
from django.db.models import Q
from django.db.models.signals import m2m_changed, post_save
from django.http import HttpRequest

from clubdesk.desk.models import Seen, SignInRecord
from clubdesk.desk.signin.sessions import end_all

log = logging.getLogger(__name__)
BAD = (Seen.REFUSED, Seen.TOO_MANY)


def known_as(typed: str) -> User | None:
    """Whose name or e-mail it is; what nobody is called may be a password typed in the wrong place, and is not kept."""
    return User.objects.filter(Q(username__iexact=typed) | Q(email__iexact=typed)).first() if typed else None


def note(what: Seen, user: Any, request: HttpRequest | None = None, words: str = "") -> None:
    """Write down what happened, to whom, and from where."""
    record = SignInRecord(what=what, user=user, words=words[:200], address=_address_of(request))
    record.save(force_insert=True)
    level = logging.WARNING if what in BAD else logging.INFO if record.address else logging.DEBUG
    log.log(level, "%s%s, from %s", record, f" ({words})" if words else "", record.address or "this machine")


def _address_of(request: HttpRequest | None) -> str:
    request = request or context.request
    if request is None:
        return ""
    try:
        return str(get_adapter().get_client_ip(request))
    except PermissionDenied:
        return ""


def signed_in(request: HttpRequest, user: User, **given: Any) -> None:
    note(Seen.SIGNED_IN, user, request)


def signed_out(request: HttpRequest, user: User | None, **given: Any) -> None:
    if user is not None:
        note(Seen.SIGNED_OUT, user, request)


def code_rejected(request: HttpRequest, user: User, **given: Any) -> None:
    note(Seen.REFUSED, user, request, "a wrong code")


def password_changed(request: HttpRequest, user: User, **given: Any) -> None:
    note(Seen.PASSWORD, user, request)


def step_added(request: HttpRequest, user: User, authenticator: Any, **given: Any) -> None:
    note(Seen.SECOND_STEP, user, request, f"added: {authenticator.get_type_display()}")


def step_removed(request: HttpRequest, user: User, authenticator: Any, **given: Any) -> None:
    note(Seen.SECOND_STEP, user, request, f"removed: {authenticator.get_type_display()}")


def step_failed(request: HttpRequest, user: User, **given: Any) -> None:
    note(Seen.REFUSED, user, request, "the second step failed")


CHANGES = ("post_add", "post_remove", "post_clear")


def roles_changed(instance: Any, action: str, reverse: bool, pk_set: set[int] | None, **given: Any) -> None:
    """Of a user's groups, whichever side it was changed from. Whose role changes signs in anew."""
    if action in CHANGES:
        for user in User.objects.filter(pk__in=pk_set or ()) if reverse else [instance]:
            _signs_in_anew(user)


def user_saved(instance: User, created: bool, **given: Any) -> None:
    """Whoever becomes an administrator, or is none any more, or may sign in no more, signs in anew."""
    before = getattr(instance, "_stood", None)
    stands = (instance.is_superuser, instance.is_active)
    if not created and before is not None and before != stands:
        _signs_in_anew(instance)
    instance._stood = stands  # type: ignore[attr-defined]


def _signs_in_anew(user: User) -> None:
    """What somebody may do decides whether they need a second step, which is asked as they sign in."""
    session = getattr(context.request, "session", None)
    end_all(user, but=session.session_key if session else None)


def user_read(instance: User, **given: Any) -> None:
    loaded = instance.get_deferred_fields()
    if not {"is_superuser", "is_active"} & loaded:
        instance._stood = (instance.is_superuser, instance.is_active)  # type: ignore[attr-defined]


def listen() -> None:
    """Called once, when the site starts."""
    from django.db.models.signals import post_init

    account.user_logged_in.connect(signed_in, dispatch_uid="signed_in")
    user_logged_out.connect(signed_out, dispatch_uid="signed_out")
    account.login_code_rejected.connect(code_rejected, dispatch_uid="code_rejected")
    for signal in (account.password_set, account.password_changed, account.password_reset):
        signal.connect(password_changed, dispatch_uid="password_changed")
    mfa.authenticator_added.connect(step_added, dispatch_uid="step_added")
    mfa.authenticator_removed.connect(step_removed, dispatch_uid="step_removed")
    mfa.authentication_failed.connect(step_failed, dispatch_uid="step_failed")
    m2m_changed.connect(roles_changed, sender=User.groups.through, dispatch_uid="roles_changed")
    post_init.connect(user_read, sender=User, dispatch_uid="user_read")
    post_save.connect(user_saved, sender=User, dispatch_uid="user_saved")
