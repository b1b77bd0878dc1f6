"""The first evening: an empty book says where to begin, and ticks by itself what is there."""

import re
from html.parser import HTMLParser

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from clubdesk import rooms
from clubdesk.bank.models import AccountChange, BankAccount
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Book, Role
from clubdesk.mail.models import Message
from clubdesk.rangeday.models import Kit
from clubdesk.rooms import COORDINATOR, TREASURER
from tests.worlds.day_one import KEEPER, YEAR_START, username

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


class TestFromTheListAndBack:
    def thing(self, client, who, title):
        return next(each for each in looks(client, who).things if each.first.title == title)

    def test_the_first_two_lead_to_the_form_of_the_one_row_that_they_are_about(self, client, treasurer):
        book, account = Book.objects.get(), BankAccount.objects.get(account__role=Role.BANK)
        urls = [
            self.thing(client, treasurer.username, title).url.partition("?")[0]
            for title in ("The club, and whom families ask", "Where families pay")
        ]
        assert urls == [
            reverse("admin:ledger_book_change", args=[book.pk]),
            reverse("admin:bank_bankaccount_another-account", args=[account.pk]),
        ]

    def test_what_was_begun_there_leads_back_to_what_is_next_once_it_is_saved(self, client, treasurer):
        thing = self.thing(client, treasurer.username, "The club, and whom families ask")
        assert thing.is_next
        typed = {
            "contact_name": "Ida Mirabar",
            "contact_email": "ida@example.org",
            "pay_days": 14,
            "letters_an_hour": 100,
        }
        answer = client.post(thing.url, typed, follow=True)
        assert answer.redirect_chain == [(reverse("admin:index"), 302)]
        after = answer.context["beginning"].things
        assert [each.first.title for each in after if each.is_next] == ["Where families pay"]
        assert "Next" in answer.content.decode()

    def test_a_page_of_a_verb_leads_back_as_well(self, client, treasurer):
        thing = self.thing(client, treasurer.username, "Where families pay")
        typed = {"holder": "Reedbank Archers", "bsb": "123-456", "account_number": "1234567", "reason": "the letter"}
        answer = client.post(thing.url, typed | {"key": "11111111-1111-4111-8111-111111111111"})
        assert (answer.status_code, answer["Location"]) == (302, reverse("admin:index"))
        assert AccountChange.objects.count() == 1

    def test_one_more_of_the_same_still_knows_where_it_was_begun(self, client, coordinator):
        url = self.thing(client, coordinator.username, "The club’s kit").url
        typed = {"number": "B01", "kind": "bow"}
        more = client.post(url, {"_addanother": "1"} | typed)
        assert more["Location"] == url
        assert client.post(url, typed | {"number": "B02"})["Location"] == reverse("admin:index")

    def test_what_is_wrong_stays_on_its_form(self, client, coordinator):
        url = self.thing(client, coordinator.username, "The club’s kit").url
        assert client.post(url, {"number": ""}).status_code == 200

    def test_what_was_opened_from_elsewhere_leads_where_it_always_did(self, client, coordinator):
        client.force_login(coordinator)
        answer = client.post(reverse("admin:rangeday_kit_add"), {"number": "B01", "kind": "bow"})
        assert answer["Location"] == reverse("admin:rangeday_kit_changelist")


class Choices(HTMLParser):
    """The choices of a page of which there is none, and whether something beside them says where one comes from."""

    def __init__(self, page):
        super().__init__()
        self.empty, self.given, self.name = [], 0, ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag == "select":
            self.name, self.given = told.get("name"), 0
        self.given += tag == "option" and bool(told.get("value"))

    def handle_endtag(self, tag):
        if tag == "select" and not self.given:
            self.empty.append(self.name)


WAY_OF = {"fee_item": "fees_feeitem_add", "adult_fee_item": "fees_feeitem_add", "party": "ledger_party_add"}


@pytest.mark.parametrize("who", [KEEPER, username(TREASURER), username(COORDINATOR)])
def test_no_choice_is_empty_without_a_way_to_fill_it(client, book, who):
    lacking, found = [], []
    for thing in looks(client, who).things:
        page = client.get(thing.url).content.decode()
        for name in {each.rpartition("-")[2] for each in Choices(page).empty}:
            found.append(name)
            way = f"href='{reverse(f'admin:{WAY_OF[name]}')}'" if name in WAY_OF else "no way"
            if way not in page and "There is none yet; the treasurer adds a fee" not in page:
                lacking.append(f"{thing.first.title}: {name}")
    assert found != []
    assert lacking == []


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
