"""Visitors sign on by themselves at the table; a helper confirms them once, and nothing of the rest stays."""

import json
import uuid
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses.models import PageUse
from clubdesk.errors import Refused
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.rangeday import room, selectors, services, visiting
from clubdesk.rangeday.models import SafetyText, SignOn, Tap, Visitor
from clubdesk.verbs import shell_user
from tests.rangeday.days import TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def rules(book):
    return SafetyText.objects.create(in_force_from=TODAY, text="Stay behind the line.")


@pytest.fixture
def day(day, rules):
    return day


@pytest.fixture
def typed(rules):
    return {"name": "Noor Solano", "agrees": "on", "key": str(uuid.uuid4()), "rules": rules.pk}


@pytest.fixture
def sent(day):
    """What a visitor's phone, which nobody is signed in on, gets for what it sends."""
    phone = Client()
    return lambda typed, **more: phone.post(visiting.path_of(day), typed | more)


@pytest.fixture
def waits(day, rules):
    def waiting(name="Noor Solano", key=None, **more):
        about = {"name": name, "key": key or uuid.uuid4(), "safety": rules, "by": shell_user(), **more}
        return services.sign_on_as_visitor(range_day=day, **about)

    return waiting


@pytest.fixture
def told(client, day, range_helper):
    """What the book tells a helper's phone, after what it sends."""
    client.force_login(range_helper)
    url = reverse("admin:range_taps", args=[day.pk])

    def asked(*taps):
        if not taps:
            return client.get(url).json()
        return client.post(url, json.dumps({"taps": list(taps)}), content_type="application/json").json()

    return asked


def confirming(visitor, **more):
    tap = {"key": str(uuid.uuid4()), "at": "2026-09-12T00:00:00Z", "people": [], "gear": "visitor", "paid": "cash"}
    said = {"visitor": str(visitor.key), "visitor_name": visitor.name, "visitor_guardian": visitor.guardian}
    return tap | said | {"safety": visitor.safety_id} | more


class TestThePage:
    def test_it_says_the_rules_and_the_fee_and_lists_nobody(self, day, member, waits):
        waits("Ida Quoll")
        page = Client().get(visiting.path_of(day)).content.decode()
        assert "Stay behind the line." in page
        assert "$15.00" in page
        assert "Ida Quoll" not in page
        assert str(member) not in page

    def test_who_sends_it_waits_with_the_rules_that_they_agreed_to(self, sent, typed, rules):
        assert sent(typed).url == reverse("visit:thanks")
        visitor = Visitor.objects.get()
        assert (visitor.name, visitor.safety, SignOn.objects.count()) == ("Noor Solano", rules, 0)

    def test_sent_twice_it_counts_once(self, sent, typed):
        assert [sent(typed).status_code for _ in range(2)] == [302, 302]
        assert Visitor.objects.count() == 1

    @pytest.mark.parametrize(("lacking", "said"), [
        ({"name": " "}, "Write your name."), ({"agrees": ""}, "tick that you agree"),
        ({"is_child": "on"}, "For a child, write the guardian’s name and phone."),
        ({"is_child": "on", "guardian": "Ida"}, "For a child, write the guardian’s name and phone."),
        ({"rules": ""}, "The safety rules have changed just now"),
    ])  # fmt: skip
    def test_what_is_missing_is_said_and_nothing_is_kept(self, sent, typed, lacking, said):
        page = sent(typed, **lacking)
        assert page.status_code == 422
        assert said in page.content.decode()
        assert not Visitor.objects.exists()

    def test_whoever_fills_in_what_nobody_sees_is_thanked_and_not_kept(self, sent, typed):
        assert sent(typed, website="x").url == reverse("visit:thanks")
        assert not Visitor.objects.exists()

    def test_new_rules_are_read_before_they_are_agreed_to(self, sent, typed):
        SafetyText.objects.create(in_force_from=TODAY, text="Newer rules.")
        page = sent(typed).content.decode()
        assert "The safety rules have changed just now" in page
        assert "Newer rules." in page

    def test_from_one_address_only_so_many_an_hour(self, sent, typed, monkeypatch):
        monkeypatch.setitem(services_limits(), "visit", 2)
        answers = [sent(typed, key=str(uuid.uuid4())).status_code for _ in range(3)]
        assert answers == [302, 302, 429]
        assert PageUse.objects.count() == 3

    def test_when_very_many_wait_the_helper_is_asked(self, waits, monkeypatch):
        monkeypatch.setattr("clubdesk.rangeday.services.visitors.MOST_WAIT", 1)
        waits()
        with pytest.raises(Refused, match="ask a helper at the table"):
            waits()


def services_limits():
    from clubdesk.courses.services import parents

    return parents.MOST_AN_HOUR


class TestTheLink:
    def refused(self, address):
        page = Client().get(address)
        return page.status_code, page.context["sentence"]

    def test_it_opens_on_its_own_day_alone(self, day):
        address = visiting.path_of(day)
        assert Client().get(address).status_code == 200
        for other in (TODAY - timedelta(days=1), TODAY + timedelta(days=1)):
            with clock.on(other):
                assert self.refused(address) == (404, visiting.OVER)

    def test_it_ends_with_the_day(self, day, by):
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert self.refused(visiting.path_of(day)) == (404, visiting.OVER)

    def test_an_altered_one_opens_nothing(self, day):
        assert self.refused(visiting.path_of(day)[:-3] + "x/") == (404, visiting.NOT_WHOLE)

    def test_a_day_that_was_moved_does_not_take_its_link_along(self, day):
        address = visiting.path_of(day)
        day.date = TODAY + timedelta(days=1)
        day.save()
        with clock.on(day.date):
            assert self.refused(address) == (404, visiting.OVER)

    def test_the_helper_has_its_code_on_the_day(self, client, day, range_helper):
        client.force_login(range_helper)
        page = client.get(reverse("admin:range_visitors", args=[day.pk]))
        assert "<svg" in page.content.decode()
        assert visiting.path_of(day).split("/")[1] in page.context["address"]
        with clock.on(TODAY - timedelta(days=1)):
            assert "works on the day itself" in client.get(page.request["PATH_INFO"]).content.decode()


class TestTheHelper:
    def test_sees_who_waits_and_signs_them_on_with_the_fee(self, told, waits, rules):
        visitor = waits(is_child=True, guardian="Ida", phone="08 7010 0101")
        assert told()["waiting"] == [[str(visitor.key), "Noor Solano", "Ida", "08 7010 0101", rules.pk]]
        answer = told(confirming(visitor))
        assert (answer["waiting"], answer["told"][0][1]) == ([], "done")
        signed = SignOn.objects.get()
        assert (signed.visitor_name, signed.visitor_guardian, signed.safety) == ("Noor Solano", "Ida", rules)
        assert balance(Role.TILL, TODAY) == 15

    def test_two_phones_that_confirm_the_same_take_one_fee_and_ask(self, told, waits):
        visitor = waits()
        told(confirming(visitor))
        answer = told(confirming(visitor, paid="card"))
        assert answer["told"][0][1:3] == [
            "question", "Noor Solano: signed on already by another phone. Was the fee taken twice?",
        ]  # fmt: skip
        assert SignOn.objects.count() == 1
        assert (balance(Role.TILL, TODAY), balance(Role.CARD_TAKINGS, TODAY)) == (15, 0)

    def test_one_who_is_undone_waits_again_and_can_be_signed_on_again(self, told, waits):
        visitor = waits()
        first = confirming(visitor)
        told(first)
        answer = told({**first, "undo": True})
        assert [row[1] for row in answer["waiting"]] == ["Noor Solano"]
        assert told(confirming(visitor, paid="card"))["told"][0][1] == "done"
        assert SignOn.objects.filter(selectors.STANDS).count() == 1

    def test_who_is_not_here_waits_no_more(self, told, waits):
        visitor = waits()
        away = {"key": str(uuid.uuid4()), "at": "2026-09-12T00:00:00Z", "act": "away", "visitor": str(visitor.key)}
        assert told(away)["waiting"] == []
        assert (Tap.objects.get().state, SignOn.objects.count()) == ("done", 0)

    def test_nobody_waits_on_a_day_that_is_over(self, told, waits, day, by):
        waits()
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert told()["waiting"] == []


def test_after_the_day_the_night_erases_what_visitors_wrote(waits, by):
    waits()
    room.forget_visitors(TODAY, by)
    assert Visitor.objects.count() == 1
    room.forget_visitors(TODAY + timedelta(days=1), by)
    assert Visitor.objects.count() == 0
