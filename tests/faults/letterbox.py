"""A letterbox that outlives whoever posts into it: a file with a line a letter."""

import os
from collections.abc import Sequence
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend


class Letterbox(BaseEmailBackend):
    """Mail of tests whose processes are killed; a line is written whole or not at all."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        file = os.open(settings.EMAIL_FILE_PATH, os.O_WRONLY | os.O_APPEND)
        for message in email_messages:
            os.write(file, f"{message.to[0]}\n".encode())
        os.close(file)
        return len(email_messages)


def letters_to(address: str) -> int:
    """How many letters were posted to the address."""
    return Path(settings.EMAIL_FILE_PATH).read_text().splitlines().count(address)
