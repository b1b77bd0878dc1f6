"""What is said before a site goes out to the open internet: letters, nights, files, and who signs in how."""

from datetime import timedelta
from pathlib import Path

import pytest
from allauth.mfa.models import Authenticator
from django.contrib.auth.models import User
from django.db import connection

from clubdesk.desk import deploying
from clubdesk.desk.deploying import check_deployment, file_system_of
from clubdesk.desk.models import Regular, Upkeep
from tests.worlds.day_one import TODAY

pytestmark = pytest.mark.django_db
LETTERS, NOBODY_TOLD, NO_STEP, NETWORK, READABLE, LACKING, MISSED = range(10, 17)


@pytest.fixture
def as_it_should_be(settings, tmp_path):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.ADMINS = [("", "keeper@example.org")]
    settings.SECOND_STEP = True
    settings.BASE_DIR = tmp_path
    settings.MEDIA_ROOT = tmp_path / "evidence"
    settings.MEDIA_ROOT.mkdir(mode=0o700)
    if connection.vendor == "sqlite":
        Path(connection.settings_dict["NAME"]).chmod(0o600)
    for user in User.objects.filter(is_superuser=True):
        Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={"secret": "x"})
    Upkeep.objects.create(what=Regular.NIGHT, on=TODAY)


def numbers():
    return [int(warning.id.rpartition("W")[2]) for warning in check_deployment()]


def test_a_site_that_is_ready_is_told_nothing(as_it_should_be):
    assert check_deployment() == []


@pytest.mark.parametrize("backend", ["console", "dummy", "locmem", "filebased"])
def test_letters_that_go_nowhere(as_it_should_be, settings, backend):
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    assert numbers() == [LETTERS]


def test_nobody_who_is_told_of_a_fault(as_it_should_be, settings):
    settings.ADMINS = []
    assert numbers() == [NOBODY_TOLD]


def test_a_second_step_that_is_off_and_an_administrator_without_one(as_it_should_be, settings):
    settings.SECOND_STEP = False
    Authenticator.objects.all().delete()
    assert numbers() == [NO_STEP, LACKING]


def test_recovery_codes_alone_are_no_second_step(as_it_should_be):
    Authenticator.objects.update(type=Authenticator.Type.RECOVERY_CODES)
    assert numbers() == [LACKING]


def test_nights_that_nobody_does(as_it_should_be):
    Upkeep.objects.update(on=TODAY - timedelta(days=2))
    assert numbers() == [MISSED]


@pytest.mark.parametrize("name", ["evidence", ".secret_key", ".export_key"])
def test_what_others_on_the_machine_can_read(as_it_should_be, tmp_path, name):
    path = tmp_path / name
    path.touch()
    path.chmod(0o740)
    (warning,) = check_deployment()
    assert warning.msg == f"{path} can be read by others on this machine: chmod go= {path}"


@pytest.mark.only_on("sqlite")
def test_a_book_on_a_network_drive(as_it_should_be, monkeypatch):
    monkeypatch.setattr(deploying, "file_system_of", lambda path: "nfs4")
    assert numbers() == [NETWORK]


def test_which_drive_a_path_lies_on(monkeypatch, tmp_path):
    monkeypatch.setattr(deploying, "MOUNTS", tmp_path / "mounts")
    (tmp_path / "mounts").write_text(
        f"/dev/sda / ext4 rw 0 0\nshare:/club {tmp_path}/club nfs4 rw 0 0\n/dev/sdb {tmp_path}/club/own ext4 rw 0 0\n"
    )
    found = [file_system_of(tmp_path / place) for place in ("books", "club/books", "club/own/books", "clubs/books")]
    assert found == ["", "nfs4", "", ""]
