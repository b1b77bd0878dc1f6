"""Where worlds are kept between runs, and which copy of them this process uses."""

import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path

import django
from django.apps import apps
from django.conf import settings
from django.db import connection
from django.test import override_settings

from clubdesk import clock
from tests.worlds.databases import PostgresqlDatabases, SqliteFiles
from tests.worlds.day_one import TODAY
from tests.worlds.known import WORLDS

HOUSE = Path(__file__).resolve().parent.parent.parent
MADE_OF = ("clubdesk/**/*.py", "fixtures/chart.csv", "tests/worlds/*.py", "tests/factories.py", "tests/settings.py")
A_DAY, AN_HOUR = 24 * 3600, 3600
LARGE = ("season_500", "demo", "ten_years")


def digest() -> str:
    """Of all that worlds are made of: code, settings, what the environment says of the club; and where the code stands,
    since one PostgreSQL serves several checkouts.
    """
    told = [django.__version__, connection.vendor, settings.CLUB_CURRENCY, str(HOUSE)]
    found = hashlib.sha256(repr(told).encode())
    for path in sorted(path for pattern in MADE_OF for path in HOUSE.glob(pattern)):
        found.update(str(path.relative_to(HOUSE)).encode() + path.read_bytes())
    return found.hexdigest()[:10]


KIND = connection.vendor if connection.vendor == "sqlite" else f"{connection.vendor}-{connection.settings_dict['NAME']}"
DIGEST = digest()
KEPT = HOUSE / ".worlds" / f"{KIND}-{DIGEST}"
SCRATCH = Path(tempfile.gettempdir()) / f"fb{uuid.uuid4().hex[:8]}"
databases = (SqliteFiles if connection.vendor == "sqlite" else PostgresqlDatabases)(KEPT, SCRATCH)
numbers = count(1)
copies: dict[str, str] = {}


def use(database: str) -> None:
    """From now on this process works in the database of that name."""
    connection.close()
    if connection.vendor == "postgresql" and connection.settings_dict["NAME"]:
        connection.close_pool()
    connection.settings_dict["NAME"] = database
    if apps.ready:  # each database has numbers of its own for them
        apps.get_model("contenttypes.ContentType").objects.clear_cache()


def know_content_types() -> None:
    """As a process that has run for a while, which asks for none of them any more."""
    types = apps.get_model("contenttypes.ContentType").objects
    for each in types.all():
        types._add_to_cache(each._state.db, each)


def enter(world: str) -> None:
    """Work in this process's own copy of the world; what a test leaves in it, it rolls back or `spoil`s."""
    if world not in copies:
        if not databases.exists(databases.kept(world)):
            _let_build(world)
        copies[world] = _copy_of(world)
    if connection.settings_dict["NAME"] != copies[world]:
        use(copies[world])
    # Through a cursor of the server few rows cost four questions instead of one; large books are read as a club's is.
    connection.settings_dict["DISABLE_SERVER_SIDE_CURSORS"] = world not in LARGE


def spoil() -> None:
    """Throw the copy that is used now away, since something was committed to it."""
    database = connection.settings_dict["NAME"]
    use("")
    for world in [world for world, copy in copies.items() if copy == database]:
        databases.drop(copies.pop(world))


def leave() -> None:
    """Throw away all copies of this process."""
    use("")
    for copy in copies.values():
        databases.drop(copy)
    copies.clear()
    shutil.rmtree(SCRATCH, ignore_errors=True)


def files_of(world: str) -> Path:
    """The world's own files, only to be read."""
    return KEPT / world


def keep(world: str) -> None:
    """Build a world, and first those that it begins with, unless it is kept already."""
    with _alone(world):
        if databases.exists(databases.kept(world)):
            return
        begins, folder, database = WORLDS[world].begins, files_of(world), databases.kept(f"{world}_growing")
        shutil.rmtree(folder, ignore_errors=True)
        databases.drop(database)
        if begins:
            keep(begins)
            databases.copy(databases.kept(begins), database)
            shutil.copytree(files_of(begins), folder)
        else:
            _forget_old()
            databases.create(database)
            folder.mkdir()
        use(database)
        with clock.on(TODAY), override_settings(MEDIA_ROOT=folder / "evidence"):
            WORLDS[world].grow(folder)
        use("")
        if digest() != DIGEST:
            raise SystemExit("The code changed while a world was built; start again.")
        databases.rename(database, databases.kept(world))


def _let_build(world: str) -> None:
    """In a process of its own, so that nothing of this one goes into the world nor the other way round."""
    command = [sys.executable, "-m", "tests.worlds", world]
    done = subprocess.run(command, cwd=HOUSE, env=os.environ, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"The world {world} could not be built:\n{done.stderr}")


def _copy_of(world: str) -> str:
    SCRATCH.mkdir(exist_ok=True)
    os.utime(KEPT)
    copy = databases.fresh(f"{world}_{next(numbers)}")
    databases.copy(databases.kept(world), copy)
    return copy


@contextmanager
def _alone(world: str) -> Iterator[None]:
    """One process at a time builds a world. The lock is an SQLite file's, which ends with its process."""
    KEPT.mkdir(parents=True, exist_ok=True)
    with closing(sqlite3.connect(KEPT / f"{world}.lock", timeout=AN_HOUR, isolation_level=None)) as lock:
        lock.execute("BEGIN EXCLUSIVE")
        yield


def _forget_old() -> None:
    """Drop what was kept for other code and not used for a day."""
    for old in KEPT.parent.glob(f"{KIND}-*"):
        if old != KEPT and old.stat().st_mtime < time.time() - A_DAY:
            databases.drop_kept(old.name.rpartition("-")[2])
            shutil.rmtree(old)
