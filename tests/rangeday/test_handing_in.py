"""Helpers count at the range, the second confirms it, and the coordinator sees what differs and posts."""

import re
import uuid

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from clubdesk.rangeday import services
from clubdesk.rangeday.models import RangeCount, TillCount
from tests.forms import form_of
from tests.rangeday.days import TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def second(django_user_model, range_helper):
    """Another helper, who counts along."""
    user = django_user_model.objects.create_user("mara", is_staff=True, first_name="Mara")
    user.groups.set(range_helper.groups.all())
    return user


@pytest.fixture
def hand_in(day, range_helper, second):
    def handed(pieces=None, **more):
        about = {"second_counter": second, "on": TODAY, "by": range_helper, **more}
        return services.hand_in_count(range_day=day, pieces=pieces or {500: 1}, **about)

    return handed


def test_a_count_at_the_range_posts_nothing_and_closes_nothing(hand_in, sign, member, day):
    sign(member)
    count = hand_in()
    day.refresh_from_db()
    assert (count.counted, count.counted_pieces, day.closed_on) == (as_amount(5), {500: 1}, None)
    assert balance(Role.TILL, TODAY) == 7
    assert not TillCount.objects.exists()


def test_the_same_key_counts_once(hand_in):
    key = uuid.uuid4()
    assert hand_in(key=key) == hand_in(key=key)
    assert RangeCount.objects.count() == 1


def test_two_people_count_and_the_database_holds_that(hand_in, range_helper, second, day):
    with pytest.raises(Refused, match="Two people count"):
        hand_in(second_counter=range_helper)
    about = {"range_day": day, "counted": as_amount(5), "recorded_by": second, "second_counter": second}
    with pytest.raises(IntegrityError, match="rangeday_two_count_at_the_range"), transaction.atomic():
        RangeCount.objects.create(**about)


def test_what_was_handed_in_is_never_changed(hand_in):
    hand_in()
    with pytest.raises(IntegrityError, match="count at the range"), transaction.atomic():
        RangeCount.objects.update(counted=as_amount(7))


def test_the_second_confirms_it_by_their_own_sign_in_once(hand_in, day, second, coordinator):
    with pytest.raises(Refused, match="Nobody has counted at the range yet"):
        services.confirm_count(range_day=day, by=second)
    hand_in()
    with pytest.raises(Refused, match="Mara counted along and confirms it"):
        services.confirm_count(range_day=day, by=coordinator)
    first = services.confirm_count(range_day=day, by=second).confirmed_at
    assert first is not None
    assert services.confirm_count(range_day=day, by=second).confirmed_at == first


def test_a_day_that_is_over_or_to_come_is_not_counted(hand_in, day, by):
    with clock.on(TODAY), pytest.raises(Refused, match="is still to come"):
        hand_in(on=TODAY.replace(day=1))
    services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
    with pytest.raises(Refused, match="was called off"):
        hand_in()


def test_after_the_day_is_closed_the_one_who_comes_late_is_told_by_whom(hand_in, day, coordinator, range_helper):
    services.close_day(range_day=day, pieces={}, second_counter=range_helper, by=coordinator, on=TODAY)
    with pytest.raises(Refused, match="was counted and closed already by"):
        hand_in()


class TestTheScreens:
    def url(self, slug, day):
        return reverse(f"admin:rangeday_rangeday_{slug}", args=[day.pk])

    def test_a_helper_is_led_to_count_and_told_who_closes(self, client, day, range_helper, coordinator):
        coordinator.first_name = "Ines"
        coordinator.save()
        client.force_login(range_helper)
        page = client.get(reverse("admin:range_sheet", args=[day.pk])).content.decode()
        assert self.url("count", day) in page
        assert re.search(r"Closing the day is for [^,<]*Ines[^,<]*, who then sees what two of you counted\.", page)
        assert client.get(self.url("close", day)).status_code == 403

    def test_it_is_one_screen_and_the_second_finds_what_to_confirm(self, client, day, range_helper, second):
        client.force_login(range_helper)
        page = client.get(self.url("count", day))
        given = form_of(page, pieces_500="1", second_counter=str(second.pk), note="a coin is missing")
        client.post(self.url("count", day), given)
        assert RangeCount.objects.get().note == "a coin is missing"
        shown = reverse("admin:rangeday_rangeday_change", args=[day.pk])
        assert self.url("confirm-count", day) not in client.get(shown).content.decode()
        client.force_login(second)
        assert self.url("confirm-count", day) in client.get(shown).content.decode()
        client.post(self.url("confirm-count", day), form_of(client.get(self.url("confirm-count", day))))
        assert RangeCount.objects.get().confirmed_at is not None

    def test_the_coordinator_sees_what_differs_and_posts_it(
        self, client, day, hand_in, sign, member, second, coordinator, range_helper
    ):
        sign(member)
        hand_in(note="two dollars less, not found")
        services.confirm_count(range_day=day, by=second)
        client.force_login(coordinator)
        page = client.get(self.url("close", day))
        told = page.content.decode()
        assert "Mara has confirmed it. two dollars less, not found" in told
        assert "Cash box short by" in told
        client.post(self.url("close", day), form_of(page))
        count = TillCount.objects.get()
        assert (count.counted, count.difference, count.second_counter) == (as_amount(5), as_amount(-2), range_helper)
        assert count.reason == "two dollars less, not found"
        assert balance(Role.CASH_OVER_SHORT, TODAY) == 2
