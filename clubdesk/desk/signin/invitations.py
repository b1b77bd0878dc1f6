"""An invitation: a link by which somebody who was added chooses how to sign in, once, within a week."""

import logging
from datetime import timedelta
from smtplib import SMTPException

from allauth.account.models import EmailAddress
from django.conf import settings
from django.contrib.auth.models import User
from django.core.mail import EmailMessage
from django.core.signing import BadSignature, SignatureExpired, dumps, loads
from django.template.loader import render_to_string
from django.urls import reverse

from clubdesk.errors import Refused
from clubdesk.ledger.models import Book

log = logging.getLogger(__name__)
SALT = "desk.invitation"
WORKS_FOR = timedelta(days=7)
OVER = "This invitation was used, or another has taken its place. Sign in, or ask an administrator for a new one."


def link_of(user: User) -> str:
    """The address by which the user chooses how to sign in; it ends with the first choice."""
    token = dumps([user.pk, _mark(user)], salt=SALT)
    return f"{settings.SITE_URL}{reverse('invitation', args=[token])}"


def _mark(user: User) -> str:
    """Changes with every password, also with one that nobody can type."""
    return user.password[-16:]


def user_of(token: str) -> User:
    """Whom an invitation is for. Raises Refused, in words, for one that does not work any more."""
    try:
        pk, mark = loads(token, salt=SALT, max_age=WORKS_FOR)
    except SignatureExpired:
        raise Refused("This invitation is more than a week old. Ask an administrator for a new one.") from None
    except (BadSignature, ValueError, TypeError):
        raise Refused("The address is not complete. Open the link from the letter again.") from None
    user = User.objects.filter(pk=pk, is_active=True).first()
    if user is None or _mark(user) != mark:
        raise Refused(OVER)
    return user


def send(user: User) -> None:
    """The letter with the link. It is not kept among the letters of the book: whoever reads those could use it."""
    club = Book.objects.values_list("club_name", flat=True).first()
    told = {"user": user, "link": link_of(user), "club": club}
    subject, body = (render_to_string(f"account/email/invitation_{part}.txt", told) for part in ("subject", "message"))
    try:
        EmailMessage(" ".join(subject.split()), body, to=[user.email]).send()
    except (OSError, SMTPException) as trouble:
        log.error("The invitation of %s could not be sent: %s", user, trouble)


def knows_its_mail(user: User) -> None:
    """Codes and new passwords go to the address that stands on the user's page, and to no other."""
    EmailAddress.objects.filter(user=user).exclude(email=user.email).delete()
    if user.email:
        defaults = {"verified": True, "primary": True}
        EmailAddress.objects.update_or_create(user=user, email=user.email, defaults=defaults)
