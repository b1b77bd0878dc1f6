"""Whatever fails beneath a page, people read a sentence: at a form, at a read, at the phone's sheet, for families."""

import json
import logging
import re
import sqlite3
import threading
import uuid
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse

from clubdesk import faults, upkeep
from clubdesk.rangeday.models import RangeDay, SafetyText, Tap
from clubdesk.roll.models import Household
from tests.courses.test_parents_page import party
from tests.ground.test_faults import of_sqlite, through_django
from tests.whole.addresses import urls_of_everything
from tests.whole.test_pages import NOT_OPEN
from tests.worlds.day_one import PASSWORD

pytestmark = [pytest.mark.django_db, pytest.mark.world("season")]
FULL = through_django(of_sqlite(sqlite3.SQLITE_FULL, "database or disk is full"))
BUSY = through_django(of_sqlite(sqlite3.SQLITE_BUSY, "database is locked"))
BROKEN = through_django(of_sqlite(sqlite3.SQLITE_ERROR, "Expression tree is too large"))
WRITES = re.compile(r"INSERT|UPDATE|DELETE")
EVERYTHING = re.compile("")


@pytest.fixture
def client(keeper):
    client = Client(raise_request_exception=False)
    client.force_login(keeper)
    return client


@contextmanager
def failing(error, what=WRITES):
    """Each statement of this kind fails with that error."""

    def fail(execute, statement, *rest):
        if what.match(statement) and "SAVEPOINT" not in statement:
            raise error
        return execute(statement, *rest)

    with connection.execute_wrapper(fail):
        yield


def safety_text(words="No shooting before the horn."):
    return {"in_force_from": "2026-09-13", "text": words}


def receipt(home):
    return f"/roll/household/{home.pk}/receipt/", {
        "key": str(uuid.uuid4()), "amount_0": "10", "amount": "10", "method": "cash", "on": "2026-09-12"
    }  # fmt: skip


@pytest.mark.either
def test_every_page_opens_while_nothing_can_be_written(client, season, settings):
    urls = urls_of_everything(client)
    for url in urls:
        client.get(url)  # once before: Django notes its content types
    with failing(FULL):
        answers = {url: client.get(url).status_code for url in urls}
    assert {url: status for url, status in answers.items() if status != 200} == NOT_OPEN


@pytest.mark.parametrize(("error", "sentence"), [(FULL, faults.FULL), (BUSY, faults.BUSY)], ids=["full", "busy"])
def test_a_form_says_it_and_keeps_what_was_typed(client, season, error, sentence):
    url, typed = receipt(Household.objects.first())
    with failing(error):
        answers = [client.post(url, typed), client.post(reverse("admin:rangeday_safetytext_add"), safety_text())]
    assert [answer.status_code for answer in answers] == [422, 200]
    for answer, kept in zip(answers, ['value="10"', "No shooting before the horn."], strict=True):
        assert sentence in answer.content.decode()
        assert kept in answer.content.decode()
    assert Household.objects.first().receipts.filter(key=typed["key"]).count() == 0


def test_a_fault_beneath_a_form_is_no_crowding(client, season, caplog):
    url, typed = receipt(Household.objects.first())
    for address, form in ((url, typed), (reverse("admin:rangeday_safetytext_add"), safety_text())):
        caplog.clear()
        with failing(BROKEN):
            answer = client.post(address, form)
        (record,) = (each for each in caplog.records if each.levelno == logging.ERROR)
        assert answer.status_code == 500
        assert f"fault {record.args[0]}." in answer.content.decode()
        assert "Expression tree is too large" in caplog.text
        assert faults.BUSY not in answer.content.decode()


@pytest.mark.parametrize(
    ("error", "status", "heading"),
    [(FULL, 507, "No room is left"), (BUSY, 503, "Somebody else was writing"), (BROKEN, 500, "This did not work")],
    ids=["full", "busy", "broken"],
)
def test_a_page_that_cannot_even_be_read_is_in_words(client, season, error, status, heading):
    with failing(error, EVERYTHING):
        answers = [client.get(url) for url in ("/", "/roll/household/", "/book/")]
    assert {answer.status_code for answer in answers} == {status}
    assert {f"<h1>{heading}</h1>" in answer.content.decode() for answer in answers} == {True}


@pytest.mark.django_db(transaction=True)
def test_families_are_told_too(client, season):
    cohort = season.cohort
    url = reverse("book:course", args=[cohort.course_id])
    form = party(cohort, "new@example.org", (("Ana", "Mirabar", "2014-05-05"),), key=str(uuid.uuid4()))
    with failing(FULL):
        answer = client.post(url, form)
    assert answer.status_code == 422
    assert faults.FULL in answer.content.decode()
    with failing(BROKEN):
        answer = client.post(url, form)
    assert answer.status_code == 500
    assert "it was fault" in answer.content.decode()


# The phone's sheet


@pytest.fixture
def phone(client, season):
    """Sends taps as a phone does; returns the status, and what it was answered."""
    day = RangeDay.objects.filter(closed_on=None).first()
    url, safety = reverse("admin:range_taps", args=[day.pk]), SafetyText.objects.create(**safety_text()).pk

    def send(*names):
        taps = [
            {"key": str(uuid.uuid4()), "at": "2026-09-12T10:00:00+09:30", "people": [],
             "gear": "visitor", "paid": "cash",
             "visitor_name": name, "safety": safety}
            for name in names
        ]  # fmt: skip
        answer = client.post(
            url, json.dumps({"taps": taps}), "application/json", headers={"accept": "application/json"}
        )
        return answer.status_code, answer.json()

    return send


def test_the_phone_keeps_a_tap_for_which_no_room_is_left_and_says_so(phone):
    with failing(FULL):
        status, answer = phone("Uncle")
    assert (status, answer["told"], answer["refused"]) == (200, [], faults.FULL)
    assert Tap.objects.filter(visitor_name="Uncle").count() == 0


def test_the_phone_says_nothing_of_a_moment_s_crowding_and_sends_again(phone):
    with failing(BUSY):
        status, answer = phone("Uncle")
    assert (status, answer["told"], answer["refused"]) == (200, [], "")


def test_a_tap_that_fails_holds_no_other_back_and_names_its_fault(phone, caplog, monkeypatch):
    plain = Tap.save

    def save(tap, *arguments, **named):
        if tap.visitor_name == "Aunt":
            raise ZeroDivisionError("no aunts")
        return plain(tap, *arguments, **named)

    monkeypatch.setattr(Tap, "save", save)
    status, answer = phone("Aunt", "Uncle")
    (record,) = (each for each in caplog.records if each.levelno == logging.ERROR)
    assert (status, len(answer["told"])) == (200, 1)
    assert f"it was fault {record.args[0]}." in answer["refused"]
    assert "ZeroDivisionError: no aunts" in caplog.text


@pytest.mark.parametrize(("error", "status"), [(FULL, 507), (BUSY, 503), (BROKEN, 500)], ids=["full", "busy", "broken"])
def test_the_phone_gets_a_sentence_where_nothing_can_be_read(phone, error, status):
    with failing(error, EVERYTHING):
        found, answer = phone("Uncle")
    assert found == status
    assert list(answer) == ["sentence"]


# The real thing


@pytest.mark.only_on("sqlite")
@pytest.mark.django_db(transaction=True)
def test_a_real_lock_of_the_file_is_busy_and_a_read_goes_on(client, season):
    url, typed = receipt(Household.objects.first())
    connection.cursor().execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    sent, read = client.post(url, typed), client.get("/roll/household/")
    other.close()
    assert (sent.status_code, read.status_code) == (422, 200)
    assert faults.BUSY in sent.content.decode()
    assert client.post(url, typed).status_code == 302


@pytest.mark.only_on("sqlite")
@pytest.mark.django_db(transaction=True)
def test_a_real_full_file_says_so_and_reads_go_on(client, season):
    cursor = connection.cursor()
    cursor.execute("CREATE TABLE stuffing (what)")
    cursor.execute("PRAGMA page_count")
    cursor.execute(f"PRAGMA max_page_count = {cursor.fetchone()[0]}")
    with pytest.raises(OperationalError, match="database or disk is full"):
        while True:
            cursor.execute("INSERT INTO stuffing VALUES (zeroblob(3000))")
    form = safety_text("Wait for the horn. " + "🏹" * 2900)
    sent, read = client.post(reverse("admin:rangeday_safetytext_add"), form), client.get("/roll/household/")
    assert (sent.status_code, read.status_code) == (200, 200)
    assert faults.FULL in sent.content.decode()
    assert "Wait for the horn. 🏹" in sent.content.decode()
    assert SafetyText.objects.filter(text__startswith="Wait for").count() == 0


@pytest.mark.only_on("sqlite")
@pytest.mark.django_db(transaction=True)
def test_the_log_of_the_file_stays_while_the_site_serves(season):
    """Else each reader must make it anew, for which a full disk has no room."""
    index = f"{connection.settings_dict['NAME']}-shm"
    connection.close()
    upkeep.hold_open()
    assert Household.objects.count() > 0
    connection.close()
    assert Path(index).stat().st_size > 0
    upkeep.let_go()


@pytest.mark.only_on("postgresql")
@pytest.mark.django_db(transaction=True)
def test_a_real_deadlock_is_busy(client, season):
    first, second = Household.objects.order_by("pk")[:2]
    lock = "SELECT id FROM roll_household WHERE id = {} FOR UPDATE"
    there = {name: connection.settings_dict[name.upper()] for name in ("host", "user", "password")}
    other = psycopg.connect(dbname=connection.settings_dict["NAME"], **there)
    other.execute("SET deadlock_timeout = '30s'")  # the other is not the one that gives way
    other.execute(lock.format(second.pk))
    waiting = threading.Thread(target=lambda: (other.execute(lock.format(first.pk)), other.rollback()))

    def cross(execute, statement, *rest):
        found = execute(statement, *rest)
        if statement.startswith("INSERT") and not waiting.is_alive():
            execute(lock.format(first.pk), None, False, rest[-1])
            waiting.start()
            execute(lock.format(second.pk), None, False, rest[-1])
        return found

    url, typed = receipt(first)
    with connection.execute_wrapper(cross):
        answer = client.post(url, typed)
    waiting.join()
    other.close()
    assert answer.status_code == 422
    assert faults.BUSY in answer.content.decode()


def test_what_is_only_read_is_answered_where_the_session_cannot_be_written(client, season, monkeypatch):
    url, typed = receipt(Household.objects.first())
    monkeypatch.setattr("django.contrib.messages.storage.cookie.CookieStorage.max_cookie_size", 0)
    client.post(url, typed)
    with failing(FULL):
        read = client.get(url)
    assert read.status_code == 200
    assert "Receipt" in read.content.decode()


def test_signing_in_says_that_no_room_is_left(season):
    with failing(FULL):
        answer = Client().post("/login/", {"login": "treasurer", "password": PASSWORD})
    assert answer.status_code == 507


def test_an_error_without_words_of_its_own_is_still_raised():
    with pytest.raises(OperationalError, match="too large"):
        faults.sentence_of(BROKEN)
