"""The first evening: an empty book says where to begin, and ticks by itself what is there."""

import re

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from clubdesk import rooms
from clubdesk.ledger import services as ledger
from clubdesk.mail.models import Message
from clubdesk.rangeday.models import Kit
from clubdesk.rooms import COORDINATOR, TREASURER
from tests.worlds.day_one import YEAR_START, username

pytestmark = pytest.mark.django_db


def looks(client, who):
    client.force_login(User.objects.get(username=who))
    return client.get(reverse("admin:index")).context["beginning"]


def titles(beginning, *, done):
    return [thing.first.title for thing in beginning.things if thing.is_done == done]


def test_a_book_on_its_first_evening_says_where_to_begin(client, keeper):
    beginning = looks(client, keeper.username)
    assert titles(beginning, done=True) == ["Who signs in"]
    assert titles(beginning, done=False)[:3] == [
        "The club, and whom families ask", "Where families pay", "What things cost",
    ]  # fmt: skip
    places = [thing.first.place for thing in beginning.things]
    assert places == sorted(places)
    assert len(set(places)) == len(places) == sum(len(room.first_things) for room in rooms.in_order())


def test_what_is_there_is_ticked_by_itself(client, treasurer, keeper):
    Kit.objects.create(number="B01", kind="bow")
    assert "The club’s kit" in titles(looks(client, keeper.username), done=True)


@pytest.mark.parametrize("role", [COORDINATOR, TREASURER])
def test_each_is_shown_to_whoever_may_do_it_and_its_page_opens(client, book, role):
    beginning = looks(client, username(role))
    assert beginning.things
    for thing in beginning.things:
        assert client.get(thing.url).status_code == 200, thing.first.title


def test_a_helper_and_an_auditor_are_shown_none(client, range_helper, auditor):
    for who in (range_helper, auditor):
        assert looks(client, who.username) is None


def test_the_list_goes_with_the_first_month_that_is_locked(client, treasurer, by):
    ledger.lock_month(month_end=YEAR_START.replace(day=31), reason="a test", by=by)
    assert looks(client, treasurer.username) is None


@pytest.mark.slow
@pytest.mark.world("demo")
def test_a_book_that_is_long_under_way_shows_no_first_things(client):
    assert looks(client, "treasurer") is None


def test_a_test_letter_goes_to_whoever_asks_and_is_said_where_they_have_no_address(client, coordinator):
    client.force_login(coordinator)
    page = reverse("admin:mail_message_test")
    answer = client.post(page, {"key": "11111111-1111-4111-8111-111111111111"})
    assert "has no e-mail address" in answer.content.decode()
    User.objects.filter(pk=coordinator.pk).update(email="ines@example.org")
    for _ in range(2):
        client.post(page, {"key": "22222222-2222-4222-8222-222222222222"})
    letter = Message.objects.get()
    assert (letter.to, letter.household) == ("ines@example.org", None)
    assert re.search("Reedbank Archers go out", letter.body)
