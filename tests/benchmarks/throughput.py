"""`python -m tests.benchmarks.throughput`: sixteen people at once through the real pages of a real server.

Django's own WSGI handler behind a socket that two forked processes of four threads each take from, in a copy of the
demo's book on the database that DATABASE_URL names. Everybody signs in, then sends the one form again and again.
Whoever else works on the machine slows them; so the processor's time of the server is told beside the clock's.
"""

import argparse
import json
import logging
import os
import re
import signal
import socket
import statistics
import sys
import threading
import time
import uuid
from collections.abc import Callable
from datetime import timedelta
from http.client import HTTPConnection
from http.cookies import SimpleCookie
from itertools import count
from urllib.parse import urlencode

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
django.setup()

from django.conf import settings  # noqa: E402 - it needs the settings
from django.contrib.auth.models import User  # noqa: E402
from django.core.servers.basehttp import WSGIRequestHandler, WSGIServer  # noqa: E402
from django.db import connection, transaction  # noqa: E402
from django.utils import timezone  # noqa: E402

from clubdesk import clock  # noqa: E402
from clubdesk.courses.models import Cohort  # noqa: E402
from clubdesk.ledger.invariants import check_all  # noqa: E402
from clubdesk.membership.selectors import members_on  # noqa: E402
from clubdesk.rangeday.models import RangeDay, SignOn  # noqa: E402
from clubdesk.roll.services import add_household, add_person  # noqa: E402
from tests.faults.killing import apart  # noqa: E402
from tests.worlds import keeping  # noqa: E402
from tests.worlds.demo import LAST_DAY  # noqa: E402

PROCESSES, THREADS, CLIENTS = 2, 4, 16
WHO, PASSWORD, ENOUGH = "coordinator", "sixteen at once", 4000
Send = Callable[["Client"], None]


class Quiet(WSGIRequestHandler):
    def log_message(self, *told: object) -> None:
        pass


class Server:
    """Forked processes that take requests from one socket, each by a few threads."""

    def __init__(self) -> None:
        self.http = WSGIServer(("127.0.0.1", 0), Quiet)
        self.http.socket.listen(128)
        self.port = self.http.server_address[1]
        apart()
        self.pids = [self._fork() for _ in range(PROCESSES)]

    def _fork(self) -> int:
        if pid := os.fork():
            return pid
        signal.signal(signal.SIGTERM, lambda *_: os._exit(0))
        from clubdesk.wsgi import application

        self.http.set_app(application)
        for _ in range(THREADS - 1):
            threading.Thread(target=self._take, daemon=True).start()
        self._take()
        raise AssertionError("a thread takes requests until its process ends")

    def _take(self) -> None:
        while True:
            self.http.process_request(*self.http.get_request())

    def processor(self) -> float:
        """Seconds of the processor that its processes have used."""
        ticks = 0
        for pid in self.pids:
            with open(f"/proc/{pid}/stat") as stat:
                ticks += sum(map(int, stat.read().rpartition(") ")[2].split()[11:13]))
        return ticks / os.sysconf("SC_CLK_TCK")

    def stop(self) -> None:
        for pid in self.pids:
            os.kill(pid, signal.SIGTERM)
            os.waitpid(pid, 0)


class Client:
    """A browser: its cookies, and what a form needs to be sent again."""

    def __init__(self, port: int):
        self.port, self.cookies, self.csrf, self.mark = port, SimpleCookie(), "", ""
        self.post("/login/", {"login": WHO, "password": PASSWORD, "csrfmiddlewaretoken": self.token("/login/")}, 302)

    def ask(self, method: str, path: str, body: str | None = None, **headers: str) -> tuple[int, str]:
        cookies = "; ".join(f"{name}={each.value}" for name, each in self.cookies.items())
        asking = HTTPConnection("127.0.0.1", self.port, timeout=60)
        asking.request(method, path, body, {"Cookie": cookies} | headers)
        answer = asking.getresponse()
        for value in answer.headers.get_all("Set-Cookie") or ():
            self.cookies.load(value)
        content = answer.read().decode()
        asking.close()
        return answer.status, content

    def token(self, path: str) -> str:
        return re.findall(r'name="csrfmiddlewaretoken" value="(\w+)"', self.ask("GET", path)[1])[0]

    def post(self, path: str, form: dict[str, object], wanted: int) -> str:
        kind = "application/x-www-form-urlencoded"
        status, content = self.ask("POST", path, urlencode(form), **{"Content-Type": kind})
        assert status == wanted, (status, re.findall(r'class="errorlist[^>]*>.*?</ul>', content, re.S)[:3])
        return content


def sign_ons() -> tuple[Send, Callable[[], int]]:
    """Children of the roll come to the range one after the other and pay in cash."""
    day = RangeDay.objects.create(date=LAST_DAY, place="River range")
    members = set(members_on(LAST_DAY).values_list("person", flat=True))
    born, people = LAST_DAY - timedelta(days=4000), []
    with transaction.atomic():
        for number in range(ENOUGH // 4):
            names = {"household": add_household(name=f"Busy {number}"), "family_name": "Busy", "birth_date": born}
            people += [add_person(given_name=f"Child{each}", **names) for each in range(4)]
    coming = iter(sorted(members) + [person.pk for person in people])

    def send(client: Client) -> None:
        tap = {"key": str(uuid.uuid4()), "at": timezone.now().isoformat(), "gear": "hire", "paid": "cash"}
        body = json.dumps({"taps": [tap | {"people": [next(coming)]}]})
        status, content = client.ask(
            "POST", f"/range/{day.pk}/taps/?have={client.mark}", body,
            **{"Content-Type": "application/json", "X-CSRFToken": client.cookies["csrftoken"].value},
        )  # fmt: skip
        told = json.loads(content)
        assert status == 200, content[:200]
        assert told["told"][0][1] == "done", told["told"]
        client.mark = told["mark"]

    return send, SignOn.objects.filter(range_day=day).count


def bookings() -> tuple[Send, Callable[[], int]]:
    """New families ring one after the other and book a child into a cohort with room for all."""
    course = Cohort.objects.order_by("pk").last().course
    first = LAST_DAY + timedelta(days=500)
    cohort = Cohort.objects.create(
        course=course, name="A large one", first_session=first, last_session=first + timedelta(days=28), capacity=ENOUGH
    )
    number = count()
    path = "/courses/booking/add/"

    def send(client: Client) -> None:
        client.csrf = client.csrf or client.token(path)
        name = next(number)
        form = {
            "csrfmiddlewaretoken": client.csrf, "key": uuid.uuid4(), "guardian": f"Guardian {name}",
            "email": f"g{name}@example.org", "person-TOTAL_FORMS": 1, "person-INITIAL_FORMS": 0,
            "person-0-given_name": f"Child{name}", "person-0-family_name": "Busy",
            "person-0-birth_date": str(first - timedelta(days=4400)), "cohorts": cohort.pk,
        }  # fmt: skip
        looked = client.post(path, form, 200)
        form["seen"] = re.search(r'name="seen" value="(\w+)"', looked)[1]
        client.post(path, form, 302)

    return send, cohort.places.count


def run(seconds: float, clients: list[Client], send: Send) -> list[float]:
    """How long each answer took, of all clients together."""
    took: list[float] = []
    faults: list[BaseException] = []
    until = time.monotonic() + seconds

    def busy(client: Client) -> None:
        try:
            while (began := time.monotonic()) < until:
                send(client)
                took.append(time.monotonic() - began)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=busy, args=(client,)) for client in clients]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if faults:
        raise faults[0]
    return took


def told(took: list[float], lasted: float, busy: float) -> str:
    """What a measurement came to, by seconds of the clock and of the processor; `took` in order."""
    answers = f"median {statistics.median(took):.3f} s, p95 {took[int(len(took) * 0.95)]:.3f} s, worst {took[-1]:.3f} s"
    ours = (
        f"{1000 * busy / len(took):.1f} ms of the processor each, so {PROCESSES * len(took) / busy:.0f} on free cores"
    )
    return f"{len(took) / lasted:.0f} a second, {answers}; {ours}"


def measure(what: str, seconds: float, times: int) -> None:
    keeping.enter("demo")
    settings.MEDIA_ROOT = keeping.files_of("demo") / "evidence"
    send, made = {"sign-ons": sign_ons, "bookings": bookings}[what]()
    user = User.objects.get(username=WHO)
    user.set_password(PASSWORD)
    user.save()
    server = Server()
    try:
        clients = [Client(server.port) for _ in range(CLIENTS)]
        run(0.5, clients, send)
        for _ in range(times):
            before, used, began = made(), server.processor(), time.monotonic()
            took = sorted(run(seconds, clients, send))
            lasted, used = time.monotonic() - began, server.processor() - used
            assert made() - before == len(took), "each stands once"
            print(f"{connection.vendor}, {what}: {told(took, lasted, used)}", flush=True)
            apart()
    finally:
        server.stop()
    faults = [f"{result.name}: {fault}" for result in check_all() for fault in result.faults]
    assert not faults, faults[:5]
    keeping.spoil()


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.throughput", description=__doc__)
    parser.add_argument("--seconds", type=float, default=12, help="of each measurement")
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("what", nargs="*", default=["sign-ons", "bookings"])
    options = parser.parse_args()
    logging.disable(logging.WARNING)
    socket.setdefaulttimeout(60)
    if connection.vendor == "sqlite":
        # As the club's own settings have it, where the tests' let nothing wait for the disk.
        text = connection.settings_dict["OPTIONS"]["init_command"]
        connection.settings_dict["OPTIONS"]["init_command"] = text.replace("PRAGMA synchronous=OFF;", "")
    settings.MAIL_GOES_OUT_BY_ITSELF = False
    with clock.on(LAST_DAY):
        try:
            for what in options.what:
                measure(what, options.seconds, options.times)
        finally:
            keeping.leave()
    return 0


if __name__ == "__main__":
    sys.exit(main())
