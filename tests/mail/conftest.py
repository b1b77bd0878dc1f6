import socket

import pytest

from tests.mail.letterbox import Letterbox


@pytest.fixture
def port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture
def letterbox(settings, port):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", port, 5
    settings.DEFAULT_FROM_EMAIL = "Reedbank Archers <courses@reedbank.example>"
    settings.SITE_URL = "https://reedbank.example"
    return Letterbox()
