"""How django-allauth behaves here: nobody signs up, tries are limited and told, and its mail never stops a page."""

import logging
from smtplib import SMTPException
from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.contrib.auth.base_user import AbstractBaseUser
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from clubdesk.desk.models import Seen
from clubdesk.desk.signin.record import known_as, note

log = logging.getLogger(__name__)
TOO_MANY = "Too many wrong passwords. Wait a quarter of an hour, or ask for a new password by mail."
WRONG = "This name and password do not belong together."
SILENT = ("account/messages/logged_in.txt", "account/messages/logged_out.txt")
TOLD_AGAIN_AFTER = 3600


class Adapter(DefaultAccountAdapter):  # type: ignore[misc] # it has no types
    error_messages = {
        **DefaultAccountAdapter.error_messages,
        "too_many_login_attempts": TOO_MANY,
        "username_password_mismatch": WRONG,
        "email_password_mismatch": WRONG,
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        try:
            super().pre_authenticate(request, **credentials)
        except ValidationError:
            user = known_as(credentials.get("username") or credentials.get("email") or "")
            note(Seen.TOO_MANY, user, request)
            if user and user.email and cache.add(f"told-of-tries-{user.pk}", True, TOLD_AGAIN_AFTER):
                self.send_mail("account/email/too_many_tries", user.email, {"user": user})
            raise

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        note(Seen.REFUSED, known_as(credentials.get("username") or credentials.get("email") or ""), request)

    def pre_login(self, request: HttpRequest, user: AbstractBaseUser, **given: Any) -> Any:
        if not user.is_active:
            note(Seen.REFUSED, user, request, "not active any more")
        return super().pre_login(request, user, **given)

    def add_message(
        self, request: HttpRequest, level: int, message_template: str | None = None, *more: Any, **given: Any
    ) -> None:
        if message_template not in SILENT:
            super().add_message(request, level, message_template, *more, **given)

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        try:
            super().send_mail(template_prefix, email, context)
        except (OSError, SMTPException) as trouble:
            log.error("A letter about signing in (%s) could not be sent: %s", template_prefix, trouble)
