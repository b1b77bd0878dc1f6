"""Somebody of any role signs in."""

import pytest
from django.contrib.auth import get_user_model

from tests.worlds.day_one import username


@pytest.fixture
def as_role(client, request):
    def sign_in(role):
        client.force_login(get_user_model().objects.get(username=username(role)))
        return client

    return sign_in
