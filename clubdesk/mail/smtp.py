"""A connection to the mail server that knows whether a letter had been given over whole when it broke."""

import smtplib
from typing import Any

from django.core.mail.backends.smtp import EmailBackend

GO_AHEAD = 354
"""The server waits for the letter. Source: RFC 5321 section 4.1.1.4."""


class AnswerLost(smtplib.SMTPServerDisconnected):
    """The letter was given over to its last byte and the answer never came: the server may have taken it."""


class Watchful(smtplib.SMTP):
    """Says by `AnswerLost` that a letter may have gone out, so that nobody sends it a second time unasked."""

    is_awaited = is_given = False

    def getreply(self) -> tuple[int, bytes]:
        code, words = super().getreply()
        self.is_awaited = code == GO_AHEAD
        return code, words

    def send(self, s: Any) -> None:
        super().send(s)
        self.is_given = self.is_awaited

    def data(self, msg: Any) -> tuple[int, bytes]:
        try:
            return super().data(msg)
        except (smtplib.SMTPServerDisconnected, OSError) as loss:
            if self.is_given:
                raise AnswerLost(*loss.args) from loss
            raise


class WatchfulOverTls(Watchful, smtplib.SMTP_SSL):
    """The same where all is encrypted from the first byte."""


class Backend(EmailBackend):
    @property
    def connection_class(self) -> type[smtplib.SMTP]:
        return WatchfulOverTls if self.use_ssl else Watchful
