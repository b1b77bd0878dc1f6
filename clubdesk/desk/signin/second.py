"""The second step of signing in: who needs one, and that nothing else opens to them until they have it."""

from typing import Any

from allauth.mfa import signals as mfa
from allauth.mfa.models import Authenticator
from allauth.mfa.utils import is_mfa_enabled
from django.contrib import messages
from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_in
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse

from clubdesk import rooms
from clubdesk.screens.again import is_needed

LACKS = "lacks_second_step"
STEPS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
FIRST = "Your role pays, decides or administers, so signing in takes a second step. Add a passkey or an app first."


def needs_one(user: User) -> bool:
    """Administrators, and whoever may do what the rooms say needs it."""
    return user.is_superuser or any(user.has_perm(each) for each in rooms.second_step())


def lacks_one(user: User) -> bool:
    return is_needed() and needs_one(user) and not is_mfa_enabled(user, STEPS)


class SecondStep:
    """Whoever needs a second step and has none is led to where it is added; asked when they signed in."""

    def __init__(self, get_response: Any):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.user.is_authenticated and request.session.get(LACKS) and not _is_on_the_way(request.path):
            messages.info(request, FIRST)
            return HttpResponseRedirect(reverse("mfa_index"))
        response: HttpResponseBase = self.get_response(request)
        return response


def _is_on_the_way(path: str) -> bool:
    """Pages that add a step, say again who it is, or sign out; and files, which are nobody's."""
    own = (reverse("mfa_index"), reverse("account_reauthenticate"), reverse("account_logout"), "/static/")
    return path.startswith(own)


def asked(request: HttpRequest, user: User, **given: Any) -> None:
    """At signing in, and whenever a step comes or goes."""
    request.session[LACKS] = lacks_one(user)


def listen() -> None:
    user_logged_in.connect(asked, dispatch_uid="second_step_asked")
    for name in ("authenticator_added", "authenticator_removed"):
        getattr(mfa, name).connect(asked, dispatch_uid=f"second_step_{name}")
