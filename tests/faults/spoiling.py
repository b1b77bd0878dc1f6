"""A book's SQLite file with random bytes changed: it is said, or every figure is what it was; never wrong in silence.

`python -m tests.faults.spoiling --times 500` counts what came of each; the tests do a few.
"""

import argparse
import io
import logging
import os
import random
import re
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from enum import Enum
from http.cookies import SimpleCookie
from pathlib import Path

import django

if __name__ == "__main__":
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    django.setup()

from django.apps import apps
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.db.models import CharField, TextField
from django.test import Client, override_settings
from django.urls import reverse

from clubdesk import clock, faults, guards, upkeep
from clubdesk.middleware import look_at_guards
from clubdesk.roll.models import Household
from clubdesk.twice import NO_FIGURES
from tests import families
from tests.worlds import keeping
from tests.worlds.day_one import KEEPER, TODAY

WORLD, SEED = "one_of_each", 20260912
AMOUNT = re.compile(r"\d[\d,]*\.\d\d\b")
CHAIN = "The chain breaks"


class Outcome(Enum):
    """What came of a spoilt file; the last two are bugs."""

    SQLITE = "SQLite sees it, and it is said"
    CHAIN = "only the chain of digests sees it"
    CHECK = "another check of check_books sees it"
    PAGE = "no figure is wrong, and a page says that it does not work"
    RIGHT = "every figure is what it was"
    SILENT = "A WRONG FIGURE IN SILENCE"
    RAW = "AN ERROR NOT IN WORDS"


BUGS = (Outcome.SILENT, Outcome.RAW)
Rows = dict[str, list[tuple[object, ...]]]


@dataclass(frozen=True)
class Whole:
    """The unspoilt book: its file, who is signed in there, and all that it says."""

    file: Path
    cookies: dict[str, str]
    pages: dict[str, list[str]]
    rows: Rows


def columns() -> Iterator[tuple[str, list[str]]]:
    """The columns of each table of the book that are no free words."""
    for model in apps.get_models(include_auto_created=True):
        if model._meta.app_label not in NO_FIGURES:
            fields = model._meta.concrete_fields
            no_words = [each for each in fields if not isinstance(each, CharField | TextField) or each.choices]
            yield model._meta.db_table, [str(each.column) for each in no_words]


def rows_of(file: Path) -> Rows:
    """Every figure, day, choice and link that the file holds."""
    with closing(sqlite3.connect(file)) as book:
        book.text_factory = bytes
        return {
            table: book.execute(f"SELECT {', '.join(map(_quoted, names))} FROM {table} ORDER BY 1").fetchall()
            for table, names in columns()
        }


def _quoted(name: str) -> str:
    return f'"{name}"'


def begin(folder: Path) -> Whole:
    """A copy of the world in which the keeper is signed in, with what its pages and rows say."""
    file, client = folder / "whole.sqlite3", Client()
    keeping.enter(WORLD)
    shutil.copyfile(str(connection.settings_dict["NAME"]), file)
    keeping.use(str(file))
    client.force_login(User.objects.get(username=KEEPER))
    year, household = clock.today().year + 1, Household.objects.filter(charges__isnull=False).order_by("pk")[0]
    own = families.page_of(client, household)
    cookies = {name: each.value for name, each in client.cookies.items()}
    urls = [
        reverse("admin:trial_balance"),
        reverse("admin:statements", args=[year]),
        reverse("admin:roll_household_change", args=[household.pk]),
        own,
    ]
    pages = {url: AMOUNT.findall(client.get(url).content.decode()) for url in urls}
    assert all(pages.values()), pages
    keeping.use("")
    return Whole(file, cookies, pages, rows_of(file))


def spoil(whole: bytes, chance: random.Random) -> tuple[bytes, list[int]]:
    """One to four bytes changed, side by side or apart; every second time where something is written."""
    spoilt, places = bytearray(whole), []
    apart, where_written = chance.random() < 0.5, chance.random() < 0.5
    for nth in range(chance.randint(1, 4)):
        place = (places[0] + nth) % len(whole) if places and not apart else chance.randrange(len(whole))
        while where_written and not nth and not whole[place]:
            place = chance.randrange(len(whole))
        spoilt[place] ^= chance.randint(1, 255)
        places.append(place)
    return bytes(spoilt), places


def checked() -> tuple[int, str]:
    """The exit status of `check_books`, and all that it says."""
    said = io.StringIO()
    try:
        call_command("check_books", stdout=said, stderr=said)
    except SystemExit as stopped:
        return int(str(stopped.code)), said.getvalue()
    return 0, said.getvalue()


def judge(whole: Whole, file: Path) -> tuple[Outcome, str]:
    """What the site says of the spoilt file, and the words or the difference."""
    look_at_guards()
    status, said = checked()
    differing, broken = [], []
    client = Client(raise_request_exception=False)
    client.cookies = SimpleCookie(whole.cookies)
    for url, figures in whole.pages.items():
        answer = client.get(url)
        if answer.status_code != 200:
            broken.append(f"{answer.status_code} {url}")
            if answer.status_code >= 500 and "<h1>" not in answer.content.decode():
                return Outcome.RAW, url
        elif AMOUNT.findall(answer.content.decode()) != figures:
            differing.append(url)
    if status:
        told = [line for line in said.splitlines() if not line.startswith(("ok  ", "FAIL"))]
        if not told:
            return Outcome.RAW, said
        if faults.DAMAGED in said or "the file of the book is damaged" in said:
            return Outcome.SQLITE, told[-1]
        return Outcome.CHAIN if any(CHAIN in line for line in told) else Outcome.CHECK, told[0]
    differing += [table for table, rows in rows_of(file).items() if rows != whole.rows[table]]
    if differing:
        return Outcome.SILENT, f"{differing}"
    return (Outcome.PAGE, broken[0]) if broken else (Outcome.RIGHT, "")


@contextmanager
def quiet() -> Iterator[None]:
    """The log is not read here."""
    logging.disable(logging.CRITICAL)
    try:
        yield
    finally:
        logging.disable(logging.NOTSET)


def run(times: int, folder: Path, seed: int = SEED) -> Iterator[tuple[int, list[int], Outcome, str]]:
    """Spoil the book so many times, each a copy of its own; the same seed spoils the same bytes."""
    whole = begin(folder)
    content, file = whole.file.read_bytes(), folder / "spoilt.sqlite3"
    with quiet():
        for nth in range(times):
            spoilt, places = spoil(content, random.Random(f"{seed} {nth}"))
            file.write_bytes(spoilt)
            keeping.use(str(file))
            try:
                outcome, words = judge(whole, file)
            except Exception as error:
                outcome, words = Outcome.RAW, repr(error)
            keeping.use("")
            for suffix in ("", "-wal", "-shm"):
                Path(f"{file}{suffix}").unlink(missing_ok=True)
            yield nth, places, outcome, words
        keeping.enter(WORLD)
        guards.look(connection)
        upkeep.look()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args()
    counts: Counter[Outcome] = Counter()
    evidence = override_settings(MEDIA_ROOT=keeping.files_of(WORLD) / "evidence", ALLOWED_HOSTS=["*"])
    with tempfile.TemporaryDirectory() as folder, clock.on(TODAY), evidence:
        for nth, places, outcome, words in run(asked.times, Path(folder), asked.seed):
            counts[outcome] += 1
            if outcome in BUGS:
                print(f"{nth}: bytes {places}: {outcome.value}: {words}")
    keeping.leave()
    for outcome in Outcome:
        print(f"{counts[outcome]:>5}  {outcome.value}")
    return 1 if any(counts[each] for each in BUGS) else 0


if __name__ == "__main__":
    sys.exit(main())
