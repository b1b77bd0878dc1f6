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
