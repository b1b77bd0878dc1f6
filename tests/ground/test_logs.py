"""One line a request, which names nobody and lets nobody in; and a letter to whoever keeps the site where it failed."""

import logging

import pytest
from django.core import mail
from django.test import RequestFactory

from clubdesk import faults, logs
from tests import families


@pytest.fixture
def lines(caplog):
    caplog.set_level(logging.INFO, "clubdesk.requests")
    return lambda: [record.getMessage() for record in caplog.records if record.name == "clubdesk.requests"]


@pytest.fixture(autouse=True)
def told_of_nothing(monkeypatch):
    monkeypatch.setattr(logs, "_told", {})


@pytest.mark.django_db
def test_a_line_has_an_id_the_answer_and_the_users_number(client, lines, treasurer):
    client.force_login(treasurer)
    client.get("/find/", {"q": "Fuller"})
    (line,) = lines()
    fault, *rest = line.split()
    assert len(fault) == logs.LONG
    assert rest[:3] == ["GET", "/find/", "200"]
    assert line.endswith(f"user {treasurer.pk}")
    assert "Fuller" not in line


def test_static_files_are_left_out(client, lines):
    client.get("/static/desk/desk.css")
    assert lines() == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("path", "kept"),
    [
        ("/open/WzEsMSwx:1vBq:S0mEthing/", "/open/.../"),
        ("/account/S0mEthing/", "/account/.../"),
        ("/dates/ours/S0mEthing.ics", "/dates/ours/....ics"),
        ("/password/reset/key/1-S0mEthing/", "/password/reset/key/1-.../"),
        ("/invitation/S0mEthing/", "/invitation/.../"),
        ("/nowhere/S0mEthing/", "/..."),
    ],
)
def test_what_lets_somebody_in_is_left_out(client, lines, path, kept):
    client.get(path)
    (line,) = lines()
    assert line.split()[2] == kept


@pytest.mark.django_db
def test_a_familys_link_that_works_is_left_out_too(client, lines, season):
    families.page_of(client, season.event.claims.first().household)
    assert lines()
    assert all("/open/.../" in line or " /open/" not in line for line in lines())


def test_a_fault_has_the_requests_own_id():
    request = RequestFactory().get("/find/")
    said = faults.answer(request, raised(KeyError("x"))).content.decode()
    assert f"fault {logs.id_of(request)}" in said


def test_the_administrator_is_told_of_a_fault_without_anything_that_was_in_it(settings):
    settings.ADMINS = [("", "keeper@example.org")]
    request = RequestFactory().post("/find/", {"q": "Fuller"})
    faults.answer(request, raised(KeyError("Odo Fuller")))
    (letter,) = mail.outbox
    assert letter.to == ["keeper@example.org"]
    assert f"Fault {logs.id_of(request)} at POST /find/: KeyError" in letter.body
    assert "tests/ground/test_logs.py" in letter.body
    assert "Fuller" not in letter.subject + letter.body


def test_the_same_place_is_told_once(settings):
    settings.ADMINS = [("", "keeper@example.org")]
    for _ in range(20):
        faults.answer(RequestFactory().get("/find/"), raised(KeyError("x")))
    assert len(mail.outbox) == 1


def test_a_mail_server_that_is_down_makes_no_second_fault(settings):
    settings.ADMINS = [("", "keeper@example.org")]
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    assert faults.answer(RequestFactory().get("/find/"), raised(KeyError("x"))).status_code == 500


def raised(error):
    try:
        raise error
    except type(error) as found:
        return found
