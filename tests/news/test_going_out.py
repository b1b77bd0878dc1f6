"""Letters to many over a real SMTP server: within its limit, other letters first, once each whatever breaks."""

import multiprocessing
import os
import random
import re
import signal
import socket
import time
from collections import Counter
from contextlib import contextmanager
from datetime import timedelta
from email import message_from_string, policy

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP
from django.db import connection, connections

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.ledger.models import Book
from clubdesk.mail import services as mail
from clubdesk.mail.models import Message
from clubdesk.news.models import Concern
from clubdesk.roll import services as roll
from tests import factories
from tests.news.conftest import NOW, write

pytestmark = pytest.mark.django_db(transaction=True)
BEFORE, WITHIN, AFTER = "before", "within", "after"
"""Of a letter: the connection breaks before it, in the middle of it, or once all of it was taken."""


class Flaky:
    """An SMTP server that drops connections as `drops` says, and notes each letter that it has taken."""

    def __init__(self, drops=lambda: None):
        self.drops, self.taken = drops, []

    async def handle_EHLO(self, server, session, envelope, hostname, responses):  # noqa: N802 - aiosmtpd's own name
        session.host_name, session.drop = hostname, self.drops()
        if session.drop == BEFORE:
            server.transport.abort()
        return responses

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        if session.drop == WITHIN:
            server.transport.abort()
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        self.taken.append((envelope.rcpt_tos[0], envelope.content.decode()))
        if session.drop == AFTER:
            server.transport.abort()
        return "250 taken"

    @property
    def counted(self):
        return Counter(to for to, _ in self.taken)


class Quiet(Controller):
    """Says nothing of the connections that it drops itself."""

    def factory(self):
        self.loop.set_exception_handler(lambda loop, context: None)
        return SMTP(self.handler, **self.SMTP_kwargs)


@pytest.fixture
def port(settings):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        found = probe.getsockname()[1]
    settings.EMAIL_BACKEND = "clubdesk.mail.smtp.Backend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", found, 5
    settings.SITE_URL = "https://reedbank.example"
    return found


@contextmanager
def running(server, port):
    controller = Quiet(server, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield server
    finally:
        controller.stop()


def many(family, count):
    for number in range(count):
        family(f"Quoll{number}", "Ada")


def later(**passed):
    return clock.now() + timedelta(**passed)


def states():
    return Counter(Message.objects.values_list("state", flat=True))


class TestTheHeader:
    def test_of_news_ends_it_by_a_tap_in_the_mail_program(self, family, port):
        # Source: RFC 8058 section 3.1.
        family("Quoll", "Ada")
        write()
        with running(Flaky(), port) as server:
            mail.deliver()
        ((_, text),) = server.taken
        read = message_from_string(text, policy=policy.default)
        assert read["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
        assert re.fullmatch(r"<https://reedbank\.example/open/[^/\s]+/>", read["List-Unsubscribe"].strip())
        assert read["List-Unsubscribe"].strip(" <>") in read.get_body(("plain",)).get_content()

    def test_is_not_on_a_letter_about_their_own_matter(self, family, port):
        family("Quoll", "Ada")
        write(concern=Concern.OWN)
        with running(Flaky(), port) as server:
            mail.deliver()
        assert "List-Unsubscribe" not in server.taken[0][1]


def test_news_that_waits_does_not_go_to_who_ended_it_meanwhile(family, port, by):
    home, _ = family("Quoll", "Ada")
    family("Bilby", "Cy")
    write()
    roll.end_news(guardian=home.guardians.get(), by=by)
    with running(Flaky(), port) as server:
        assert mail.deliver() == mail.Delivered(sent=1, unwanted=1)
    assert list(server.counted) == ["bilby@example.org"]
    assert states() == {"sent": 1, "unwanted": 1}


class TestTheLimit:
    @pytest.fixture
    def limit(self, book):
        Book.objects.update(letters_an_hour=20)

    def test_ends_the_round_and_the_rest_goes_in_the_next_hour(self, family, port, limit):
        many(family, 40)
        write()
        with running(Flaky(), port) as server:
            assert mail.deliver() == mail.Delivered(sent=18, hour_is_full=True)
            assert mail.deliver(at=later(minutes=59)) == mail.Delivered(hour_is_full=True)
            assert mail.deliver(at=later(minutes=60)) == mail.Delivered(sent=18, hour_is_full=True)
            assert mail.deliver(at=later(minutes=120)) == mail.Delivered(sent=4)
        assert set(server.counted.values()) == {1}

    def test_leaves_room_for_a_booking_which_goes_before_news(self, family, port, limit, by):
        many(family, 30)
        write()
        with running(Flaky(), port) as server:
            mail.deliver()
            child = factories.PersonFactory(household=family("Bilby")[0])
            courses.book_place(person=child, cohort=factories.cohort(), by=by, on=NOW)
            assert mail.deliver() == mail.Delivered(sent=1, hour_is_full=True)
        assert server.taken[-1][0] == "bilby@example.org"

    def test_a_booking_that_was_written_later_goes_first(self, family, port, by):
        many(family, 3)
        write()
        child = factories.PersonFactory(household=family("Bilby")[0])
        courses.book_place(person=child, cohort=factories.cohort(), by=by, on=NOW)
        with running(Flaky(), port) as server:
            mail.deliver()
        assert server.taken[0][0] == "bilby@example.org"

    def test_counts_no_letter_that_the_server_did_not_take(self, family, port, limit):
        many(family, 12)
        write()
        assert mail.deliver() == mail.Delivered(delayed=1)
        with running(Flaky(), port):
            assert mail.deliver(at=later(minutes=3)) == mail.Delivered(sent=12)


class TestADroppedConnection:
    def test_delays_one_letter_and_the_round_goes_on(self, family, port):
        many(family, 3)
        write()
        drops = iter([WITHIN])
        with running(Flaky(lambda: next(drops, None)), port):
            assert mail.deliver() == mail.Delivered(sent=2, delayed=1)
            assert mail.deliver(at=later(minutes=3)) == mail.Delivered(sent=1)

    def test_five_times_in_a_row_ends_the_round(self, family, port):
        many(family, 9)
        write()
        with running(Flaky(lambda: BEFORE), port):
            assert mail.deliver() == mail.Delivered(delayed=5)

    def test_after_all_was_given_over_is_never_sent_a_second_time_unasked(self, family, port):
        family("Quoll", "Ada")
        write()
        drops = iter([AFTER])
        with running(Flaky(lambda: next(drops, None)), port) as server:
            assert mail.deliver() == mail.Delivered(failed=1)
            assert mail.deliver(at=later(days=1)) == mail.Delivered()
        assert server.counted == {"quoll@example.org": 1}
        assert "ask the family whether it came" in Message.objects.get().outcome


FORKING = multiprocessing.get_context("fork")


def deliver_until_killed(at):
    """A process that delivers, and is killed in the middle."""
    connections.close_all()
    if connection.vendor == "postgresql":
        connection.close_pool()
    process = FORKING.Process(target=_deliver, args=(at,))
    process.start()
    return process


def _deliver(at):
    mail.deliver(at=at)
    os._exit(0)


@pytest.mark.slow
def test_500_families_are_reached_once_each_whatever_breaks(family, port):
    """Half the connections drop, the process is killed twice in the middle, and an hour takes 200 letters."""
    many(family, 500)
    Book.objects.update(letters_an_hour=200)
    write()
    chance = random.Random(5)
    server = Flaky(lambda: chance.choice([None, None, BEFORE, WITHIN]))
    kills, at, most_in_an_hour = 0, clock.now(), 0
    with running(server, port):
        while Message.objects.filter(state="waiting").exists():
            before = len(server.taken)
            if kills < 2:
                process = deliver_until_killed(at)
                deadline = time.monotonic() + 60
                while len(server.taken) < before + 20 and process.is_alive() and time.monotonic() < deadline:
                    time.sleep(0.005)
                process.kill()
                process.join()
                kills += process.exitcode == -signal.SIGKILL
            else:
                mail.deliver(at=at)
            most_in_an_hour = max(most_in_an_hour, Message.objects.filter(sent_at__gt=at - timedelta(hours=1)).count())
            at += timedelta(minutes=10)
        mail.deliver(at=at + timedelta(hours=1))
    counted = server.counted
    assert kills == 2
    assert set(counted.values()) == {1}
    assert most_in_an_hour <= 200
    failed = set(Message.objects.filter(state="failed").values_list("to", flat=True))
    assert len(failed) <= 2, "only what went out as the process was killed"
    assert set(Message.objects.filter(state="sent").values_list("to", flat=True)) | failed == {
        f"quoll{number}@example.org" for number in range(500)
    }
    assert len(counted) >= 498
    assert all("interrupted while going out" in each.outcome for each in Message.objects.filter(state="failed"))


def test_while_letters_wait_the_process_looks_again_by_itself_once_at_a_time(family, port, settings, monkeypatch):
    planned = []
    monkeypatch.setattr(mail.threading, "Timer", lambda after, act: planned.append((after, act)) or Unstarted())
    family("Quoll", "Ada")
    write()  # nobody listens
    settings.MAIL_GOES_OUT_BY_ITSELF = True
    for _ in range(2):
        mail._look_again_later()
    ((after, act),) = planned
    assert after == mail.GOES_ON_AFTER
    monkeypatch.setattr(mail, "deliver_soon", lambda: None)
    act()
    mail._look_again_later()
    assert len(planned) == 2
    act()
    Message.objects.update(state="failed")
    mail._look_again_later()
    assert len(planned) == 2


class Unstarted:
    daemon = False

    def start(self):
        pass
