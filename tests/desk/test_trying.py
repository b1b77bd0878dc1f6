"""The demo's walk: four scenes to try, and one command that puts a book of one's own in its place."""

import pytest
from django.core.management import call_command

from clubdesk.courses.models import Course
from clubdesk.ledger.models import Book
from tests import factories


@pytest.fixture
def demo_book(book):
    """A book that says it is a demo's, without the two years that a demo takes to play."""
    Book.objects.update(is_demo=True)
    return Book.objects.get()


def home(client, who):
    client.force_login(who)
    return client.get("/").content.decode()


@pytest.mark.django_db
def test_the_four_scenes_stand_on_home_with_what_to_do(client, demo_book, keeper):
    page = home(client, keeper)
    assert "Try this" in page
    for title in ("Book a course place", "Record hire today", "Decide entry-fee refunds", "Export the year"):
        assert title in page
    assert "it waits in its turn" in page


@pytest.mark.django_db
def test_what_is_another_ones_work_says_as_whom_to_sign_in(client, demo_book, range_helper, approver):
    approver.username = "approver"
    approver.save()
    page = home(client, range_helper)
    assert "sign in as “approver” for it" in page


@pytest.mark.django_db
def test_a_clubs_own_book_has_no_walk(client, book, coordinator):
    assert "Try this" not in home(client, coordinator)


START = {"club": "Own club", "year_start": "2026-07-01", "in_place_of_the_demo": True}


@pytest.mark.django_db(transaction=True)
def test_one_command_throws_the_demo_away_and_begins_a_book(demo_book, capsys):
    factories.cohort()
    call_command("start_books", **START)
    assert Book.objects.values_list("club_name", "is_demo").get() == ("Own club", False)
    assert not Course.objects.exists()
    assert "open this link" in capsys.readouterr().out
    call_command("check", "--database", "default", "--fail-level", "WARNING")


@pytest.mark.django_db(transaction=True)
def test_no_other_book_is_touched(book, capsys):
    with pytest.raises(SystemExit, match="1"):
        call_command("start_books", **START)
    assert "holds the books of" in capsys.readouterr().err
    assert Book.objects.get() == book
