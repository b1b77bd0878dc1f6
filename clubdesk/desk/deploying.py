"""What Django's own look at a site before it goes out (`check --deploy`) cannot know: letters, nights, files, steps."""

import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.auth.models import User
from django.core.checks import CheckMessage, Warning
from django.db import DatabaseError, connection

from clubdesk import clock
from clubdesk.desk import health
from clubdesk.desk.signin.second import STEPS

GOES_NOWHERE = ("console", "dummy", "locmem", "filebased")
ON_A_NETWORK = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "ceph", "fuse.glusterfs", "afs", "9p", "davfs")
"""File systems whose locks SQLite cannot trust. Source: https://www.sqlite.org/howtocorrupt.html, section 2.1."""
MOUNTS = Path("/proc/mounts")


def check_deployment(app_configs: Any = None, **given: Any) -> list[CheckMessage]:
    """A warning for each thing that whoever keeps the site should know before it goes out."""
    found = [*_of_settings(), *_of_files()]
    try:
        if connection.introspection.table_names():
            found += _of_the_book()
    except DatabaseError:
        pass  # Django's own check of the database says so
    return [Warning(sentence, id=f"fletchbook.W{number}") for number, sentence in found]


def _of_settings() -> Iterator[tuple[int, str]]:
    if any(f".{each}." in settings.EMAIL_BACKEND for each in GOES_NOWHERE):
        yield 10, "Letters go nowhere: name the mail server in EMAIL_URL."
    if not settings.ADMINS:
        yield 11, "Nobody is told of a fault: name the administrator’s address in ADMIN_EMAIL."
    if not settings.SECOND_STEP:
        yield 12, "Signing in takes no second step: SECOND_STEP is off."
    if connection.vendor == "sqlite" and (kind := file_system_of(Path(str(connection.settings_dict["NAME"])))):
        yield 13, f"The book is an SQLite file on a network drive ({kind}), where two can write at once and spoil it."


def _of_files() -> Iterator[tuple[int, str]]:
    private = [Path(settings.MEDIA_ROOT), *(Path(settings.BASE_DIR) / name for name in (".secret_key", ".export_key"))]
    if connection.vendor == "sqlite":
        private.append(Path(str(connection.settings_dict["NAME"])))
    for path in private:
        if path.exists() and stat.S_IMODE(path.stat().st_mode) & 0o077:
            yield 14, f"{path} can be read by others on this machine: chmod go= {path}"


def _of_the_book() -> Iterator[tuple[int, str]]:
    with_step = Authenticator.objects.filter(type__in=STEPS).values("user")
    lacking = User.objects.filter(is_superuser=True, is_active=True).exclude(pk__in=with_step).count()
    if lacking:
        yield 15, f"{lacking} of the administrators has no second step of signing in."
    missed = health.missed_nights(clock.today())
    if missed >= health.MOST_NIGHTS_MISSED:
        yield 16, f"The nightly work was not done for {missed} days; the timer of “manage.py hosting” does it."


def file_system_of(path: Path) -> str:
    """The kind of network drive that the path lies on; blank where it lies on none, or where nothing says so."""
    if not MOUNTS.exists():
        return ""
    mounts = [line.split()[1:3] for line in MOUNTS.read_text().splitlines()]
    within = [(place, kind) for place, kind in mounts if path.absolute().is_relative_to(place)]
    _, kind = max(within, key=lambda each: len(each[0]), default=("", ""))
    return kind if kind in ON_A_NETWORK else ""
