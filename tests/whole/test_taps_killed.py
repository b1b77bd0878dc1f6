"""The server is killed in the middle of 200 taps and started again: each tap counts exactly once."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import uuid
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.conf import settings

from tests.chance import often
from tests.worlds.keeping import databases

TAPS, PORTS_TRIED = often(80), 40
SETUP = """
import datetime, time, django
django.setup()
from clubdesk import clock
from clubdesk.desk import services as desk
from clubdesk.rooms import RANGE_HELPER
from clubdesk.verbs import shell_user
from clubdesk.membership import services as membership
from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.sessions.backends.db import SessionStore
from tests import factories
today = clock.today()
by = shell_user()
start = datetime.date(today.year if today.month > 6 else today.year - 1, 7, 1)
desk.start_books(club_name="Reedbank Archers", year_start=start, by=by)
user, _ = desk.add_user(username="tomas", role=RANGE_HELPER)
factories.hire()
plan = factories.plan()
for _ in range({taps}):
    child = factories.PersonFactory()
    membership.take_out_membership(person=child, plan=plan, starts_on=today, on=today, by=by)
day = factories.range_day(today)
session = SessionStore()
session["_auth_user_id"] = str(user.pk)
session["_auth_user_backend"] = settings.AUTHENTICATION_BACKENDS[-1]
session["_auth_user_hash"] = user.get_session_auth_hash()
session["signed_in_at"] = int(time.time())
session.create()
from clubdesk.roll.models import Person
print(day.pk, session.session_key, *Person.objects.values_list("pk", flat=True))
"""
RESULT = """
import json, django
django.setup()
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk import clock
from clubdesk.rangeday.models import SignOn, Tap
faults = [fault for result in check_all() for fault in result.faults]
done, till = Tap.objects.filter(state="done").count(), int(balance(Role.TILL, clock.today()))
print(json.dumps([SignOn.objects.count(), done, till, faults]))
"""


@pytest.fixture
def club(tmp_path):
    """A book in a file of its own, with a helper signed in; runs code and the server beside this process."""
    place = {"DATABASE_URL": f"sqlite:///{tmp_path}/club.sqlite3", "DEBUG": "1", "SECRET_KEY": "for this test only",
             "DJANGO_SETTINGS_MODULE": "clubdesk.settings", "PYTHONPATH": str(settings.BASE_DIR)}  # fmt: skip
    environment = {**os.environ, **place}

    def run(*arguments):
        return subprocess.run(
            [sys.executable, *arguments], env=environment, cwd=settings.BASE_DIR, capture_output=True, text=True,
            check=True,
        ).stdout  # fmt: skip

    shutil.copyfile(databases.kept("empty"), tmp_path / "club.sqlite3")
    day, session, *people = run("-c", SETUP.format(taps=TAPS)).split()
    return environment, run, int(day), session, [int(pk) for pk in people]


def serve(environment):
    """A server of its own process group on a free port, once it answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "manage.py", "runserver", "--noreload", str(port)]
    server = subprocess.Popen(
        command, env=environment, cwd=Path(settings.BASE_DIR), start_new_session=True, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    for _ in range(600):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/login/", timeout=30)
        except OSError:
            time.sleep(0.1)
        else:
            return server, port
    os.killpg(server.pid, signal.SIGKILL)
    raise AssertionError("the server did not start")


def send(port, session, day, token, tap):
    """Whether the book has answered for the tap."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}/range/{day}/taps/",
        json.dumps({"taps": [tap]}).encode(),
        {"Content-Type": "application/json", "Cookie": f"sessionid={session}; csrftoken={token}", "X-CSRFToken": token},
    )
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:
            return [key for key, state, *_ in json.load(answer)["told"] if state == "done"]
    except (OSError, urllib.error.URLError, ValueError):
        return []


@pytest.mark.slow
@pytest.mark.world("empty")
@pytest.mark.only_on("sqlite")
def test_a_server_killed_in_the_middle_counts_each_tap_exactly_once(club, db):
    environment, run, day, session, people = club
    token = uuid.uuid4().hex
    taps = [
        {"key": str(uuid.uuid4()), "at": "2026-09-12T09:00:00Z", "people": [pk], "gear": "hire", "paid": "cash"}
        for pk in people
    ]
    server, port = serve(environment)
    answered = set()
    with ThreadPoolExecutor(4) as phones:
        sent = [phones.submit(send, port, session, day, token, tap) for tap in taps]
        while sum(each.done() for each in sent) < TAPS // 3:
            time.sleep(0.01)
        os.killpg(server.pid, signal.SIGKILL)
        server.wait()
        answered = {key for each in sent for key in each.result()}
    assert 0 < len(answered) < TAPS
    server, port = serve(environment)
    try:
        with ThreadPoolExecutor(4) as phones:
            told = list(phones.map(lambda tap: send(port, session, day, token, tap), taps))
    finally:
        os.killpg(server.pid, signal.SIGKILL)
        server.wait()
    assert all(told)
    assert json.loads(run("-c", RESULT)) == [TAPS, TAPS, 7 * TAPS, []]
