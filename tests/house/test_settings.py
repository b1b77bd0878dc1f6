"""The settings: read without leaving a trace, and a key that stays."""

import importlib.util
import os
import shutil

import pytest
from django.core.exceptions import ImproperlyConfigured
from tzlocal import get_localzone_name

import clubdesk.settings


@pytest.fixture
def checkout(tmp_path, monkeypatch):
    """Reads the settings of a checkout of their own, as if for the first time, with nothing in the environment."""
    monkeypatch.delenv("SECRET_KEY", raising=False)
    monkeypatch.delenv("CLUB_TIME_ZONE", raising=False)
    copy = tmp_path / "clubdesk" / "settings.py"
    copy.parent.mkdir()
    shutil.copy(clubdesk.settings.__file__, copy)

    def read():
        spec = importlib.util.spec_from_file_location("settings_of_a_copy", copy)
        module = importlib.util.module_from_spec(spec)
        monkeypatch.setattr("sys.dont_write_bytecode", True)
        spec.loader.exec_module(module)
        return module

    return tmp_path, read


def test_reading_them_writes_nothing(checkout):
    place, read = checkout
    before = sorted(place.rglob("*"))
    read()
    assert sorted(place.rglob("*")) == before


def test_the_key_is_made_when_first_asked_for_and_stays(checkout):
    place, read = checkout
    key = str(read().SECRET_KEY)
    assert len(key) > 60
    assert (place / ".secret_key").stat().st_mode & 0o777 == 0o600
    assert str(read().SECRET_KEY) == key


def test_where_no_key_can_be_kept_a_sentence_says_so(checkout, monkeypatch):
    _, read = checkout

    def full(*arguments):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", full)
    with pytest.raises(ImproperlyConfigured, match="Set SECRET_KEY: .* cannot be written"):
        str(read().SECRET_KEY)


def test_the_time_zone_is_the_machines_own_unless_it_is_set(checkout, monkeypatch):
    _, read = checkout
    assert get_localzone_name() == read().TIME_ZONE
    monkeypatch.setenv("CLUB_TIME_ZONE", "Australia/Perth")
    assert read().TIME_ZONE == "Australia/Perth"


def served(read, monkeypatch, **environment):
    for name, value in {"ALLOWED_HOSTS": "club.example", **environment}.items():
        monkeypatch.setenv(name, value)
    return read()


def test_only_behind_a_proxy_of_ones_own_a_header_says_that_a_visitor_came_by_https(checkout, monkeypatch):
    _, read = checkout
    assert not hasattr(served(read, monkeypatch), "SECURE_PROXY_SSL_HEADER")
    assert served(read, monkeypatch, PROXIES="1").SECURE_PROXY_SSL_HEADER == ("HTTP_X_FORWARDED_PROTO", "https")


def test_other_sites_of_the_domain_are_held_to_https_only_by_choice(checkout, monkeypatch):
    _, read = checkout
    plain, chosen = served(read, monkeypatch), served(read, monkeypatch, HSTS_FOR_SUBDOMAINS="yes")
    assert (plain.SECURE_HSTS_SECONDS > 0, plain.SECURE_HSTS_INCLUDE_SUBDOMAINS, plain.SECURE_HSTS_PRELOAD) == (
        True,
        False,
        False,
    )
    assert (chosen.SECURE_HSTS_INCLUDE_SUBDOMAINS, chosen.SECURE_HSTS_PRELOAD) == (True, True)


def test_what_an_earlier_key_signed_is_known_while_the_key_is_named(checkout, monkeypatch):
    _, read = checkout
    assert read().SECRET_KEY_FALLBACKS == []
    monkeypatch.setenv("SECRET_KEY_FALLBACKS", "before,long before")
    assert read().SECRET_KEY_FALLBACKS == ["before", "long before"]
