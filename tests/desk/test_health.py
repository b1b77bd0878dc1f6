"""Whether the site is well, for a monitor that signs in nowhere, for home, and for whoever answers for the books."""

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from clubdesk import clock, guards
from clubdesk.desk import health
from clubdesk.desk.models import Regular, Upkeep
from clubdesk.ledger.models import Book
from clubdesk.mail.models import Message
from tests.worlds.day_one import TODAY

pytestmark = pytest.mark.django_db
WELL = {"database": "ok", "tables": "ok", "guards": "ok", "disk": "ok", "letters": "ok", "night": "ok"}


@pytest.fixture
def asked(client):
    """What the monitor is told, asked anew each time."""

    def ask():
        health._known.clear()
        answer = client.get("/health/")
        return answer.status_code, dict(line.split(": ") for line in answer.content.decode().splitlines())

    return ask


def a_night(on):
    return Upkeep.objects.create(what=Regular.NIGHT, on=on)


def test_a_site_that_is_well_says_so_without_a_sign_in(asked):
    assert asked() == (200, WELL)


def test_it_asks_the_database_once_in_a_while_however_often_a_stranger_asks(client, django_assert_num_queries):
    health._known.clear()
    client.get("/health/")
    with django_assert_num_queries(0):
        assert client.get("/health/").status_code == 200


def test_two_days_without_a_night_are_said(asked):
    a_night(TODAY - timedelta(days=1))
    assert asked() == (200, WELL)
    with clock.on(TODAY + timedelta(days=1)):
        assert asked() == (503, WELL | {"night": "missed"})


def test_before_the_first_night_it_counts_from_the_first_sign_in(asked):
    first = timezone.localdate(User.objects.earliest("date_joined").date_joined)
    with clock.on(first + timedelta(days=2)):
        assert asked() == (503, WELL | {"night": "missed"})


def test_a_guard_that_lacks_is_said(asked):
    guard = next(each for each in guards._wanted(connection) if each.table == "ledger_posting")
    guards._drop(connection, {guard.trigger: guard.table})
    assert asked() == (503, WELL | {"guards": "lacking"})


def test_letters_that_wait_for_hours_are_said(asked):
    letter = Message.objects.create(about="a test", to="ida@example.org", subject="x", body="x")
    assert asked() == (200, WELL)
    Message.objects.filter(pk=letter.pk).update(written_at=clock.now() - timedelta(hours=7))
    assert asked() == (503, WELL | {"letters": "waiting too long"})


def test_a_disk_that_is_nearly_full_is_said(asked, monkeypatch):
    monkeypatch.setattr(health, "LEAST_FREE", 10**18)
    assert asked() == (503, WELL | {"disk": "nearly full"})


def test_the_night_is_noted_when_all_of_it_is_done(by):
    call_command("nightly", date="2026-09-12")
    assert health.last(Regular.NIGHT) == date(2026, 9, 12)
    assert health.last(Regular.BACKUP) is None
    assert health.last(Regular.CHECK) == TODAY


def test_a_night_that_finds_the_books_wrong_is_done_and_says_so(by, capsys):
    with guards.lifted(connection):
        Book.objects.update(last_number=7)
    with pytest.raises(SystemExit, match="1"):
        call_command("nightly", date="2026-09-12")
    assert "The books do not hold; look into this today" in capsys.readouterr().err
    assert health.last(Regular.NIGHT) == date(2026, 9, 12)
    assert health.last(Regular.CHECK) is None


def test_a_backup_is_noted_by_night_and_by_hand(by, tmp_path):
    call_command("nightly", date="2026-09-12", backup_to=str(tmp_path / "kept"))
    with clock.on(TODAY + timedelta(days=1)):
        call_command("backup", str(tmp_path / "one.backup"))
    days = Upkeep.objects.filter(what=Regular.BACKUP).values_list("on", flat=True)
    assert list(days) == [TODAY, TODAY + timedelta(days=1)]


def test_home_says_a_missed_night_to_everybody_who_works_there(client, range_helper):
    a_night(TODAY - timedelta(days=1))
    client.force_login(range_helper)
    home = reverse("admin:index")
    assert "nightly work" not in client.get(home).content.decode()
    with clock.on(TODAY + timedelta(days=2)):
        client.force_login(range_helper)
        assert "The nightly work was not done for 3 days" in client.get(home).content.decode()


def test_the_treasurer_sees_when_the_last_night_and_the_last_backup_were(client, treasurer, coordinator):
    a_night(TODAY)
    client.force_login(treasurer)
    page = client.get(reverse("admin:index")).content.decode()
    assert "How the site is kept" in page
    assert [(line.words, line.figure) for line in health.how_it_is_kept(TODAY)] == [
        ("Last night’s work", "today"),
        ("Last backup", "never"),
        ("Books last checked whole", "never"),
    ]
    client.force_login(coordinator)
    assert "How the site is kept" not in client.get(reverse("admin:index")).content.decode()
