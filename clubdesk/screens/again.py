"""Asking once more who it is, before what cannot be undone: a release, the year's export, bank details, an erasing."""

from allauth.account.decorators import reauthentication_required
from allauth.account.internal.flows.reauthentication import did_recently_reauthenticate
from django.apps import apps
from django.conf import settings
from django.http import HttpRequest, HttpResponse


def is_needed() -> bool:
    """Whether anybody needs a second step, and is asked again; a demo's sign-ins share one password, and are not."""
    return bool(settings.SECOND_STEP) and not is_demo()


def is_demo() -> bool:
    return bool(apps.get_model("ledger", "Book")._default_manager.filter(is_demo=True).exists())


def ask_again(request: HttpRequest) -> None:
    """Let whoever proved in the last ten minutes who they are go on.

    Raises what leads anybody else to the page that asks, and from there back; what they sent is kept meanwhile.
    """
    if is_needed():
        reauthentication_required(lambda asked: HttpResponse())(request)


def said_lately(request: HttpRequest) -> bool:
    """Whether nobody needs to ask whoever looks again who they are."""
    return not is_needed() or did_recently_reauthenticate(request)
