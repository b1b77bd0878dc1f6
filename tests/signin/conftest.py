"""People who sign in as they do in earnest: limits in the database, a second step where the role needs one."""

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    generate_totp_secret,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.core.cache import cache

from tests.worlds.day_one import PASSWORD


@pytest.fixture(autouse=True)
def in_earnest(settings):
    settings.SECOND_STEP = True


@pytest.fixture
def kept_in_the_database(settings, db):
    """The table that every worker process sees."""
    settings.CACHES = settings.CACHES | {
        "default": {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "desk_cache"}
    }
    cache.clear()


@pytest.fixture
def with_app():
    """Gives somebody an app with codes; returns what tells the code of this moment."""

    def given(user):
        secret = generate_totp_secret()
        TOTP.activate(user, secret)
        return lambda: format_hotp_value(hotp_value(secret, next(yield_hotp_counters_from_time())))

    return given


@pytest.fixture
def sign_in(client):
    """Types a name and a password into the page; returns the answer."""

    def typed(name, password=PASSWORD, **given):
        return client.post("/login/", {"login": str(name), "password": password}, **given)

    return typed


def steps_of(user):
    return {each.type for each in Authenticator.objects.filter(user=user)}
