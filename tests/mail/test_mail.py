"""Letters over a real SMTP server on this machine: sent once, delayed while it is down, never holding a booking up."""

import re
import socket
import threading
import time
from datetime import date, timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connections, transaction

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.courses.models import Booking
from clubdesk.errors import Refused
from clubdesk.mail import services
from clubdesk.mail.models import Message
from clubdesk.roll import links
from tests import factories
from tests.mail.letterbox import running
from tests.sessions import beside

pytestmark = pytest.mark.django_db(transaction=True)
NOW = date(2026, 9, 12)


@pytest.fixture
def booked(by):
    """A family that has just booked; its letter waits."""
    household = factories.HouseholdFactory(guardian="Ida", email="ida@example.org")
    child = factories.PersonFactory(household=household, given_name="Ada")
    return courses.book_place(person=child, cohort=factories.cohort(), by=by, on=NOW).booking


def later(**passed):
    return clock.now() + timedelta(**passed)


def test_a_letter_goes_out_with_the_familys_own_link(letterbox, port, booked):
    with running(letterbox, port):
        assert services.deliver() == services.Delivered(sent=1)
    ((to, text),) = letterbox.mails
    assert to == ["ida@example.org"]
    assert "Subject: Beginner course: your booking" in text
    assert "From: Reedbank Archers <courses@reedbank.example>" in text
    (token,) = set(re.findall(r"https://reedbank\.example/open/([^/\s]+)/", text.replace("=\r\n", "")))
    found, page = links.read(token)
    assert (links.guardian_of(found).email, page) == ("ida@example.org", f"/book/own/{booked.pk}/")
    message = Message.objects.get()
    assert (message.state, message.outcome) == ("sent", "accepted by the mail server")
    assert "{link}" in message.body


def test_a_server_that_is_down_delays_the_letter_and_never_the_booking(letterbox, port, booked):
    assert Booking.objects.get().state == "held"
    assert services.deliver() == services.Delivered(delayed=1)
    message = Message.objects.get()
    assert message.state == "waiting"
    assert "cannot be reached" in message.outcome
    with running(letterbox, port):
        assert services.deliver() == services.Delivered()  # not before its next try
        assert services.deliver(at=later(minutes=3)) == services.Delivered(sent=1)
        assert services.deliver(at=later(days=3)) == services.Delivered()
    assert len(letterbox.mails) == 1


def test_a_server_that_hangs_holds_a_round_up_briefly_and_all_goes_out_once(letterbox, port, booked, settings, by):
    sibling = factories.PersonFactory(household=booked.household)
    courses.book_place(person=sibling, cohort=factories.cohort(first=date(2026, 11, 1)), by=by, on=NOW)
    settings.EMAIL_TIMEOUT = 0.3
    with socket.create_server(("127.0.0.1", port)):  # it takes the call and says nothing
        began = time.monotonic()
        assert services.deliver() == services.Delivered(delayed=1)
        assert time.monotonic() - began < 10 * settings.EMAIL_TIMEOUT
    assert {message.state for message in Message.objects.all()} == {"waiting"}
    with running(letterbox, port):
        assert services.deliver(at=later(minutes=3)) == services.Delivered(sent=2)
        assert services.deliver(at=later(days=3)) == services.Delivered()
    assert len(letterbox.mails) == 2


def test_tries_grow_further_apart_and_end_after_five_days(letterbox, booked):
    # Source: RFC 5321 section 4.5.4.1: give up after four or five days.
    tries, at = 0, clock.now()
    while (message := Message.objects.get()).state == "waiting":
        at = max(at, message.next_try_at)
        services.deliver(at=at)
        tries += 1
    assert message.state == "failed"
    assert "given up after five days" in message.outcome
    assert timedelta(days=5) < at - message.written_at < timedelta(days=5, hours=5)
    assert 20 < tries < 45


@pytest.mark.parametrize(("answer", "state"), [("550 no such mailbox", "failed"), ("451 try later", "waiting")])
def test_what_the_server_says_is_kept(letterbox, port, booked, answer, state):
    # Source: RFC 5321 section 4.2.1: 4yz may be tried again, 5yz not.
    letterbox.says["ida@example.org"] = answer
    with running(letterbox, port):
        services.deliver()
    message = Message.objects.get()
    assert message.state == state
    assert answer in message.outcome


def test_one_refused_address_holds_no_other_letter_up(letterbox, port, booked, by):
    letterbox.says["ida@example.org"] = "550 no such mailbox"
    other = factories.PersonFactory(household=factories.HouseholdFactory(guardian="Odo", email="odo@example.org"))
    courses.book_place(person=other, cohort=booked.places.get().cohort, by=by, on=NOW)
    with running(letterbox, port):
        assert services.deliver() == services.Delivered(sent=1, failed=1)
    assert [to for to, _ in letterbox.mails] == [["odo@example.org"]]


def test_eight_rounds_at_once_send_each_letter_once(letterbox, port, by):
    for number in range(24):
        services.write_message(about=f"note {number}", to=f"f{number}@example.org", subject="Note", body="Hello\n")

    def deliver():
        services.deliver()
        connections.close_all()

    with running(letterbox, port):
        threads = [threading.Thread(target=deliver) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert sorted(to[0] for to, _ in letterbox.mails) == sorted(f"f{number}@example.org" for number in range(24))


def test_the_same_letter_is_written_once(by):
    for _ in range(3):
        services.write_message(about="note", to="ida@example.org", subject="Note", body="Hello\n")
    assert Message.objects.count() == 1


def test_a_letter_of_a_change_that_was_undone_is_undone_too(letterbox, port, by):
    child = factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida", email="ida@example.org"))
    cohort = factories.cohort()
    with transaction.atomic():
        courses.book_place(person=child, cohort=cohort, by=by, on=NOW)
        transaction.set_rollback(True)
    assert not Message.objects.exists()


def test_a_letter_interrupted_while_going_out_is_named_and_not_sent_by_itself_again(letterbox, port, booked, by):
    Message.objects.update(state="sending", tried_at=clock.now())
    with running(letterbox, port):
        assert services.deliver(at=later(hours=1)) == services.Delivered()
        message = Message.objects.get()
        assert message.state == "failed"
        assert "interrupted" in message.outcome
        services.send_again(message=message, to="ida@example.org", by=by)
        assert services.deliver(at=later(hours=1)) == services.Delivered(sent=1)
    with pytest.raises(Refused, match="not to be sent again"):
        services.send_again(message=message, to="ida@example.org", by=by)


@pytest.mark.only_on("postgresql")
def test_a_letter_that_another_server_sends_at_this_moment_is_not_interrupted(letterbox, port, booked):
    letterbox.slowly = 0.5
    with running(letterbox, port):
        results = beside(
            lambda: services.deliver(at=clock.now()),  # on a server whose clock is an hour behind
            lambda: services.deliver(at=later(hours=1)),
            before=(services, "_send"),
        )
    assert results == [services.Delivered(sent=1), services.Delivered()]
    assert Message.objects.get().state == "sent"
    assert len(letterbox.mails) == 1


def test_a_letter_with_line_ends_in_its_address_or_subject_harms_nobody(letterbox, port, by):
    services.write_message(about="a", to="ida@example.org", subject="Note\r\nBcc: all@example.org", body="Hello\n")
    with running(letterbox, port):
        services.deliver()
    ((to, text),) = letterbox.mails
    assert to == ["ida@example.org"]
    assert "\r\nBcc:" not in text


def test_it_goes_out_by_itself_and_nobody_waits_for_a_slow_server(letterbox, port, by, settings):
    settings.MAIL_GOES_OUT_BY_ITSELF = True
    letterbox.slowly = 1.0
    child = factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida", email="ida@example.org"))
    cohort = factories.cohort()
    with running(letterbox, port):
        courses.book_place(person=child, cohort=cohort, by=by, on=NOW)
        assert letterbox.mails == []
        until = time.monotonic() + 20
        while Message.objects.get().state != "sent" and time.monotonic() < until:
            time.sleep(0.05)
    assert Message.objects.get().state == "sent"
    for thread in threading.enumerate():
        if thread.name == "mail":
            thread.join()


def test_nightly_and_send_mail_deliver_from_a_shell(letterbox, port, booked):
    with running(letterbox, port):
        call_command("nightly", "--date", "2026-09-12", stdout=(said := StringIO()))
        assert "1 letters sent" in said.getvalue()
        call_command("send_mail", stdout=(said := StringIO()))
        assert "0 letters sent" in said.getvalue()
