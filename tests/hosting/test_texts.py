"""What `hosting` writes: texts that the programs which read them take, with nothing secret for others to read."""

import os
import re
import subprocess
import sys
from pathlib import Path

import environ
import pytest
from django.conf import settings
from django.core.management import call_command

from clubdesk.desk import hosting
from clubdesk.errors import Refused
from tests.hosting.machine import environment_of, needs

DOMAIN = "books.club.example"
pytestmark = pytest.mark.django_db


@pytest.fixture
def folder(tmp_path):
    out = tmp_path / "out"
    call_command("hosting", domain=DOMAIN, out=str(out))
    return out


def test_it_writes_each_file_and_says_where_to_begin(tmp_path, capsys):
    call_command("hosting", domain=DOMAIN, out=str(tmp_path / "out"))
    said = capsys.readouterr().out
    assert "Begin with" in said
    assert sorted(each.name for each in (tmp_path / "out").iterdir()) == sorted(hosting.FILES)


def test_what_holds_a_password_is_for_its_owner_alone(folder):
    modes = {each.name: each.stat().st_mode & 0o777 for each in folder.iterdir()}
    assert {name for name, mode in modes.items() if mode == 0o600} == set(hosting.SECRET)
    passwords = re.findall(r"PASSWORD '([\w-]{32})'", (folder / "postgresql.sql").read_text())
    assert len(set(passwords)) == 2
    for each in folder.iterdir():
        if each.name not in hosting.SECRET:
            assert not [word for word in passwords if word in each.read_text()]


def test_a_key_of_the_environment_goes_into_the_environment_file_alone(tmp_path, monkeypatch):
    monkeypatch.setenv("SECRET_KEY", 'a "key" with \\ and $ in it')
    hosting.write(DOMAIN, tmp_path / "out")
    found = {each.name for each in (tmp_path / "out").iterdir() if "and $ in it" in each.read_text()}
    assert found == {"fletchbook.env"}
    assert environment_of(tmp_path / "out" / "fletchbook.env")["SECRET_KEY"] == 'a "key" with \\ and $ in it'


@pytest.mark.parametrize(
    "domain", ["club", "Club.example", "club.example/x", "club.example\nx", "-a.example", "a b.example", ""]
)
def test_what_is_no_name_of_a_site_is_refused(tmp_path, domain):
    with pytest.raises(Refused, match="is no name of a site"):
        hosting.write(domain, tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", ["Fletch book", "x;drop", "", "a" * 40])
def test_what_is_no_name_of_a_user_is_refused(tmp_path, name):
    with pytest.raises(Refused, match="is no name of a user"):
        hosting.write(DOMAIN, tmp_path / "out", user=name)
    with pytest.raises(Refused, match="is no name of a user or database"):
        hosting.write(DOMAIN, tmp_path / "out", database=name)


def test_passwords_that_were_written_once_are_never_written_over(folder):
    before = (folder / "postgresql.sql").read_text()
    with pytest.raises(Refused, match="is not empty"):
        hosting.write(DOMAIN, folder)
    assert (folder / "postgresql.sql").read_text() == before


def test_the_proxies_take_what_the_forms_promise(folder):
    promised = max(
        int(found) for path in Path(settings.BASE_DIR, "clubdesk").rglob("*.py")
        for found in re.findall(r"at most (\d+) MB", path.read_text())
    )  # fmt: skip
    nginx = re.search(r"client_max_body_size (\d+)m;", (folder / "nginx.conf").read_text())
    caddy = re.search(r"max_size (\d+)MiB", (folder / "Caddyfile").read_text())
    assert nginx
    assert caddy
    assert int(nginx[1]) == int(caddy[1]) > promised >= settings.EVIDENCE_LIMIT // 1024**2


def test_its_settings_are_those_of_a_site_that_is_served(folder, tmp_path):
    env = {**os.environ, **environment_of(folder / "fletchbook.env"), "DJANGO_SETTINGS_MODULE": "clubdesk.settings",
           "SECRET_KEY": "k" * 30 + "0123456789abcdefghijklmnopqrstuvwxyz", "EXPORT_KEY": "another",
           "DATABASE_URL": f"sqlite:///{tmp_path / 'x.sqlite3'}",
           "EMAIL_URL": "smtp+tls://u:p@mail.club.example:587"}  # fmt: skip
    command = [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"]
    done = subprocess.run(command, cwd=settings.BASE_DIR, env=env, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stderr
    assert environ.Env.db_url_config(environment_of(folder / "owner.env")["DATABASE_URL"])["USER"] == "fletchbook_owner"


def test_systemd_finds_nothing_wrong_with_services_and_timer(folder):
    units = sorted([*folder.glob("*.service"), *folder.glob("*.timer")])
    assert len(units) == 3
    done = subprocess.run([needs("systemd-analyze"), "verify", *units], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_caddy_takes_its_site(folder):
    config = [str(folder / "Caddyfile"), "--adapter", "caddyfile"]
    done = subprocess.run(
        [needs("caddy"), "validate", "--config", *config], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "Valid configuration" in done.stdout + done.stderr
