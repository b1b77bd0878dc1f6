"""What a phone at the range sends is judged tap by tap, on the book's clock, whoever signed in or out meanwhile."""

import json
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from clubdesk import clock
from clubdesk.rangeday import kits
from clubdesk.rangeday.models import Kit, SignOn, Tap
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def url(day):
    return reverse("admin:range_taps", args=[day.pk])


@pytest.fixture
def send(client, url, range_helper):
    client.force_login(range_helper)

    def sent(*taps, **more):
        return client.post(url, json.dumps({"taps": list(taps), **more}), content_type="application/json")

    return sent


def visitor(**more):
    tap = {"key": str(uuid.uuid4()), "at": "2026-09-12T00:00:00Z", "people": [], "gear": "visitor", "paid": "card"}
    return tap | {"visitor_name": "Noor"} | more


class TestEachByItself:
    @pytest.mark.parametrize("wrong", [
        {"at": "yesterday"}, {"at": "2026-09-12T09:00:00"}, {"gear": "tank"}, {"paid": 3}, {"people": ["a"]},
        {"people": [2**70]}, {"kit": "x"}, {"holder": "x"}, {"at": None}, {"people": 7},
    ])  # fmt: skip
    def test_a_tap_that_cannot_be_read_answers_for_itself_and_the_others_are_taken(self, send, wrong):
        odd, good = visitor(**wrong), visitor()
        told = send(odd, good).json()["told"]
        assert told == [[odd["key"], "unreadable", "The book cannot read it.", 0], [good["key"], "done", "", 0]]
        assert Tap.objects.count() == SignOn.objects.count() == 1

    @pytest.mark.parametrize("odd", [3, None, "x", [], {}, {"key": 3}])
    def test_what_is_no_tap_at_all_is_passed_over(self, send, odd):
        assert [row[1] for row in send(odd, visitor()).json()["told"]] == ["done"]

    def test_a_key_that_is_none_comes_back_as_it_was_sent(self, send):
        assert send(visitor(key="x", undo=True)).json()["told"] == [["x", "unreadable", "The book cannot read it.", 1]]

    def test_a_key_in_capitals_is_answered_as_it_was_sent(self, send):
        key = str(uuid.uuid4()).upper()
        assert send(visitor(key=key)).json()["told"][0][0] == key


class TestClocks:
    """A phone's clock is not believed: what the phone says the moment is tells how far it is ahead."""

    def tapped(self, phone_ahead, ago):
        return (clock.machine() + phone_ahead - ago).isoformat()

    @pytest.mark.parametrize("hours", [-30, -2, 0, 2, 30])
    def test_kit_given_out_by_a_phone_of_any_clock_comes_back_by_another(self, send, day, hours):
        bow, wrong = Kit.objects.create(number="B01", kind="bow"), timedelta(hours=hours)
        on = visitor(at=self.tapped(wrong, timedelta(minutes=9)))
        give = {"key": str(uuid.uuid4()), "at": self.tapped(wrong, timedelta(minutes=8)), "act": "give", "kit": bow.pk,
                "holder": on["key"]}  # fmt: skip
        send(on, give, now=(clock.machine() + wrong).isoformat())
        given_at = bow.loans.get().given_at
        assert abs(clock.machine() - timedelta(minutes=8) - given_at) < timedelta(minutes=1)
        back = {"key": str(uuid.uuid4()), "at": clock.machine().isoformat(), "act": "back", "kit": bow.pk}
        send(back, now=clock.machine().isoformat())
        assert list(kits.kit_out(day)) == []

    @pytest.mark.parametrize("now", [None, "noon", 3, "2026-09-12T09:00:00", [1]])
    def test_where_it_says_nothing_that_can_be_read_nothing_is_later_than_now(self, send, now):
        send(visitor(at="2099-01-01T00:00:00Z"), now=now)
        assert Tap.objects.get().tapped_at <= clock.machine()

    def test_the_seconds_that_a_message_takes_are_not_taken_for_a_wrong_clock(self, send):
        at = datetime(2025, 9, 12, 9, 0, tzinfo=UTC)
        send(visitor(at=at.isoformat()), now=(clock.machine() - timedelta(seconds=19)).isoformat())
        assert Tap.objects.get().tapped_at == at


class TestWhoIsSignedIn:
    @pytest.fixture
    def strict(self, range_helper):
        """A browser whose tokens are asked for."""
        client = Client(enforce_csrf_checks=True)
        client.force_login(range_helper)
        return client

    def post(self, client, url, token, **body):
        headers = {"accept": "application/json", "x-csrftoken": token}
        return client.post(url, json.dumps({"taps": [visitor()], **body}), "application/json", headers=headers)

    def test_a_token_of_an_earlier_session_is_told_apart_and_a_fresh_one_comes_with_the_refusal(self, strict, url):
        refused = self.post(strict, url, "x" * 32)
        said = refused.json()
        assert (refused.status_code, said["stale"], "signed_out" in said) == (403, True, False)
        taken = self.post(strict, url, said["token"])
        assert taken.status_code == 200
        assert self.post(strict, url, taken.json()["token"]).status_code == 200
        assert SignOn.objects.count() == 2

    def test_whoever_is_signed_out_is_told_so_with_a_token_for_later(self, client, url):
        said = client.get(url)
        assert (said.status_code, said.json()["signed_out"]) == (403, True)
        assert said.json()["token"]

    def test_whoever_may_not_sign_people_on_is_not_told_to_sign_in(self, client, approver, url):
        client.force_login(approver)
        said = client.get(url).json()
        assert "signed_out" not in said
        assert said["sentence"] == "Your sign-in may not sign people on. Ask an administrator for the role."

    def test_a_page_whose_form_is_stale_is_told_so_in_a_page(self, strict):
        answer = strict.post("/logout/", {}, headers={"accept": "text/html"})
        assert answer.status_code == 403
        assert "Please try again" in answer.content.decode()


class TestWhatIsAsked:
    def test_a_phone_is_told_what_is_asked_of_what_it_sent_until_that_is_settled(self, send, client, url, member):
        taps = [visitor(people=[member.pk], visitor_name="", gear="hire", paid=paid) for paid in ("cash", "card")]
        asked = send(*taps).json()["asked"]
        assert [key for key, _ in asked] == [taps[1]["key"]]
        assert "signed on already today" in asked[0][1]
        send({"key": taps[1]["key"], "at": taps[1]["at"], "undo": True})
        assert client.get(url).json()["asked"] == []

    def test_nobody_is_told_what_is_asked_of_others(self, send, client, url, coordinator, member):
        send(*[visitor(people=[member.pk], visitor_name="", gear="hire", paid=paid) for paid in ("cash", "card")])
        client.force_login(coordinator)
        assert client.get(url).json()["asked"] == []


class TestWhoCounts:
    def test_whoever_may_not_close_the_day_is_told_who_may(self, client, day, range_helper, coordinator):
        coordinator.first_name, coordinator.last_name = "Ines", "Solano"
        coordinator.save()
        page = reverse("admin:range_sheet", args=[day.pk])
        for user, words in ((range_helper, "Closing the day is for"), (coordinator, "Count the cash box and close")):
            client.force_login(user)
            content = client.get(page).content.decode()
            assert words in content
            assert ("Ines Solano or" in content or "or Ines Solano" in content) == (user == range_helper)


def test_whoever_came_on_days_alike_is_known_with_the_kit_they_had(day, sign, join, by):
    from clubdesk.rangeday import services, usual

    often, seldom = join(factories.PersonFactory()), join(factories.PersonFactory())
    bow, other = (Kit.objects.create(number=number, kind="bow") for number in ("B01", "B02"))
    for weeks, people in ((3, [often, seldom]), (2, [often]), (1, [often])):
        before = factories.range_day(day.date - timedelta(days=7 * weeks))
        for person in people:
            signed = sign(person, on=before)
        at = datetime(2026, 9, 1, 9 + 3 - weeks, tzinfo=UTC)
        piece = bow if weeks > 1 else other
        services.give_out(kit=piece, sign_on=signed, at=at, by=by)
        services.take_back_kit(kit=piece, at=at, by=by)
    sign(seldom)
    assert usual.times_came(day) == {often.pk: 3, seldom.pk: 1}
    assert usual.kit_had(day.date) == {often.pk: [other.pk], seldom.pk: [bow.pk]}
