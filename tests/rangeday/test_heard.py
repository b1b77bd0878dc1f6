"""Two phones, one goes flat: what it had sent is there, what it had not is missed by name."""

import json
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.timezone import localtime

from clubdesk import clock
from clubdesk.rangeday import heard, room, services
from clubdesk.rangeday.models import Phone, SignOn, Tap
from tests.rangeday.days import TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def url(day):
    return reverse("admin:range_taps", args=[day.pk])


@pytest.fixture
def phone(url):
    """A phone that somebody is signed in on: posts what it keeps, or only asks."""

    def of(user):
        client, key = Client(), str(uuid.uuid4())
        client.force_login(user)

        def sends(*taps, unsent=0, asks=False):
            if asks:
                return client.get(url).json()
            body = {"taps": list(taps), "phone": key, "unsent": unsent}
            return client.post(url, json.dumps(body), content_type="application/json").json()

        return sends

    return of


@pytest.fixture
def tomas(range_helper):
    range_helper.first_name = "Tomas"
    range_helper.save()
    return range_helper


def a_visitor():
    tap = {"key": str(uuid.uuid4()), "at": "2026-09-12T00:00:00Z", "people": [], "gear": "visitor", "paid": "card"}
    return tap | {"visitor_name": "Noor"}


def later(minutes):
    """The phones were heard of so much earlier."""
    for each in Phone.objects.all():
        Phone.objects.filter(pk=each.pk).update(seen_at=each.seen_at - timedelta(minutes=minutes))


def test_one_that_goes_flat_is_named_with_what_it_had_still_to_send(phone, tomas, coordinator, day, client):
    flat, other = phone(tomas), phone(coordinator)
    flat(a_visitor(), unsent=2)
    assert other()["silent"] == []
    later(5)
    at = localtime(Phone.objects.get(user=tomas).seen_at)
    words = f"phone of Tomas, last seen {at:%-H:%M} with 2 entries to send"
    assert other()["silent"] == [[words, 2]]
    assert SignOn.objects.count() == Tap.objects.count() == 1
    client.force_login(coordinator)
    assert f"A {words}" in client.get(reverse("admin:rangeday_rangeday_close", args=[day.pk])).content.decode()


def test_one_that_had_sent_all_is_named_without_and_the_count_does_not_mind_it(phone, tomas, coordinator, day, client):
    phone(tomas)()
    later(5)
    [[words, unsent]] = phone(coordinator)(asks=True)["silent"]
    assert (words.startswith("phone of Tomas, last seen "), words.endswith("send"), unsent) == (True, False, 0)
    client.force_login(coordinator)
    assert "Look at this" not in client.get(reverse("admin:rangeday_rangeday_close", args=[day.pk])).content.decode()


def test_one_that_comes_back_is_missed_no_more(phone, tomas, coordinator):
    flat, other = phone(tomas), phone(coordinator)
    flat(unsent=1)
    later(5)
    flat(a_visitor())
    assert other()["silent"] == []
    assert Phone.objects.count() == 2


def test_somebody_else_who_signs_in_on_it_takes_the_place_of_who_had_nothing_left(day, tomas, coordinator):
    key = uuid.uuid4()
    for user, unsent in ((tomas, 0), (coordinator, 3), (tomas, 0)):
        services.hear_of(range_day=day, key=key, unsent=unsent, by=user)
    assert set(Phone.objects.values_list("user", "unsent")) == {(coordinator.pk, 3), (tomas.pk, 0)}


@pytest.mark.parametrize("odd", [{"phone": "x"}, {"phone": 3}, {"unsent": "many"}, {"unsent": None}])
def test_one_that_does_not_say_who_it_is_is_taken_all_the_same(client, url, tomas, odd):
    client.force_login(tomas)
    body = {"taps": [a_visitor()], "phone": str(uuid.uuid4()), "unsent": 0, **odd}
    assert client.post(url, json.dumps(body), content_type="application/json").json()["told"][0][1] == "done"
    assert not Phone.objects.exists()


def test_a_phone_that_only_asks_writes_nothing(phone, tomas):
    asks = phone(tomas)
    with CaptureQueriesContext(connection) as queries:
        asks(asks=True)
    assert [each["sql"] for each in queries if each["sql"].startswith(("INSERT", "UPDATE", "DELETE"))] == []


def test_some_days_after_the_day_nothing_is_left_of_it(phone, tomas, by):
    phone(tomas)()
    room.forget_visitors(TODAY + timedelta(days=room.DAYS_OF_PHONES), by)
    assert Phone.objects.count() == 1
    room.forget_visitors(TODAY + timedelta(days=room.DAYS_OF_PHONES + 1), by)
    assert Phone.objects.count() == 0


def test_a_sheet_that_is_open_is_not_silent(day, tomas):
    services.hear_of(range_day=day, key=uuid.uuid4(), unsent=4, by=tomas)
    assert not heard.silent(day).exists()
    assert timedelta(minutes=1) < heard.SILENT
    assert clock.machine() - Phone.objects.get().seen_at < timedelta(minutes=1)
