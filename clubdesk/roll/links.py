"""What a family's link may do: open its own pages, for the guardian it was sent to, for a while.

A link carries its guardian, the version of their link and when it was made. The version grows where their e-mail
changes (a guard of the database), where the club ends the links and where they are erased; whoever is no guardian any
more has none. Opened, it is left behind at once: the browser keeps a pass for some hours instead, without the address.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.core.signing import BadSignature, SignatureExpired, dumps, loads
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.roll.models import Guardian

SALT, FEED, COOKIE = "roll.link", "roll.feed", "family"
OPEN_FOR = timedelta(hours=2)
"""How long the family's pages stay open after the last of them was looked at."""
NOT_WHOLE = "The address is not complete. Open the link from the letter again, or ask the club."
ENDED = (
    "This link was ended: a guardian’s e-mail address has changed, or the club has ended it. The next letter from us "
    "brings a new one; ask the club if you need it sooner."
)
OPEN_AGAIN = "This page opens by the link in a letter from us, and closes after two hours. Open the link again."
EARLIER = "Links of this kind have ended. The next letter from us brings a new one; ask the club if you need it sooner."


@dataclass(frozen=True)
class Pass:
    """Whose pages may be opened: the guardian, the version of their link, and when that link was made."""

    guardian: int
    version: int
    made: int

    @property
    def made_at(self) -> datetime:
        return datetime.fromtimestamp(self.made, timezone.get_current_timezone())


def path_for(guardian: Guardian, page: str) -> str:
    """The address of a guardian's own link to a page of the families', made now."""
    return path_of(Pass(guardian.pk, guardian.link_version, int(timezone.now().timestamp())), page)


def path_of(found: Pass, page: str) -> str:
    """The address by which a pass opens a page elsewhere, for no longer than the link that gave it."""
    return reverse("family:open", args=[dumps([found.guardian, found.version, found.made, page], salt=SALT)])


def read(token: str) -> tuple[Pass, str]:
    """The pass that a link gives and the page that it leads to. Raises Refused, in words, for one that gives none."""
    try:
        guardian, version, made, page = loads(token, salt=SALT)
    except (BadSignature, ValueError, TypeError):
        raise Refused(NOT_WHOLE) from None
    found = Pass(guardian, version, made)
    guardian_of(found)
    return found, str(page)


def guardian_of(found: Pass) -> Guardian:
    """The guardian whose pass it is. Raises Refused where the link was ended or is too old."""
    rows = Guardian.objects.select_related("household__party")
    guardian = rows.filter(pk=found.guardian, link_version=found.version).first()
    if guardian is None:
        raise Refused(ENDED)
    if timezone.now() - found.made_at > timedelta(days=settings.FAMILY_LINK_DAYS):
        raise Refused(
            f"This link is of {day_text(found.made_at)} and worked for {settings.FAMILY_LINK_DAYS} days. Each letter "
            "from us brings a new one; ask the club if you need it sooner."
        )
    return guardian


def feed_token(guardian: Guardian) -> str:
    """What a calendar fetches a family's dates by: it has no age, and ends with the guardian's links."""
    return dumps([guardian.pk, guardian.link_version], salt=FEED)


def guardian_of_feed(token: str) -> Guardian:
    """Whose calendar asks. Raises Refused for a token that is not whole or was ended."""
    try:
        pk, version = loads(token, salt=FEED)
    except (BadSignature, ValueError, TypeError):
        raise Refused(NOT_WHOLE) from None
    guardian = Guardian.objects.select_related("household").filter(pk=pk, link_version=version).first()
    if guardian is None:
        raise Refused(ENDED)
    return guardian


def opened(request: HttpRequest) -> Pass:
    """The pass that the browser keeps. Raises Refused where it keeps none, or none that is still good."""
    try:
        kept = request.get_signed_cookie(COOKIE, salt=SALT, max_age=OPEN_FOR)
        return Pass(*map(int, str(kept).split(".")))
    except (KeyError, BadSignature, SignatureExpired, ValueError, TypeError):
        raise Refused(OPEN_AGAIN) from None


def keep(response: HttpResponseBase, found: Pass) -> None:
    """Let the browser keep the pass until it is closed; whoever has it anew has it for so long again."""
    response.set_signed_cookie(
        COOKIE,
        f"{found.guardian}.{found.version}.{found.made}",
        salt=SALT,
        httponly=True,
        samesite="Lax",
        secure=settings.SESSION_COOKIE_SECURE,
    )
