"""A family asks for a new link: the page says the same to everybody, and writes to guardians alone, a few times."""

import re

import pytest
from django.core import mail as outbox
from django.urls import reverse

from clubdesk.fees.newlink import ANSWER
from clubdesk.mail import services as mail
from clubdesk.mail.models import Message
from clubdesk.roll.models import Guardian
from tests import factories
from tests.forms import form_of

pytestmark = pytest.mark.django_db
PAGE = "/account/link/"


@pytest.fixture
def home(book):
    return factories.HouseholdFactory(name="Mirabar family", guardian="Ida", email="ida@example.org")


def ask(client, email):
    return client.post(PAGE, form_of(client.get(PAGE), email=email))


def said(answer):
    """The page without what differs each time."""
    return re.sub(r'name="csrfmiddlewaretoken" value="[^"]*"', "", answer.content.decode())


def test_a_guardian_gets_a_letter_whose_link_opens_their_page(client, home):
    assert ANSWER in ask(client, "Ida@Example.org").content.decode()
    mail.deliver()
    (letter,) = outbox.outbox
    assert letter.to == ["ida@example.org"]
    (link,) = re.findall(r"http://127.0.0.1:8000(/open/\S+)", letter.body)
    assert "Mirabar family" in client.get(link, follow=True).content.decode()


def test_an_address_that_nobody_has_reads_the_same_and_gets_nothing(client, home):
    known, unknown = ask(client, "ida@example.org"), ask(client, "nobody@example.org")
    assert said(known) == said(unknown)
    assert known.status_code == unknown.status_code
    assert [each.to for each in Message.objects.all()] == ["ida@example.org"]


def test_who_asks_again_and_again_reads_the_same_and_gets_three_letters(client, home):
    answers = {said(ask(client, "ida@example.org")) for _ in range(5)}
    assert len(answers) == 1
    assert Message.objects.count() == 3


def test_the_limit_stands_where_every_process_sees_it(client, home, settings):
    settings.CACHES = settings.CACHES | {
        "default": {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "desk_cache"}
    }
    for _ in range(4):
        ask(client, "ida@example.org")
    assert Message.objects.count() == 3


def test_the_same_form_sent_twice_writes_one_letter(client, home):
    form = form_of(client.get(PAGE), email="ida@example.org")
    client.post(PAGE, form)
    client.post(PAGE, form)
    assert Message.objects.count() == 1


def test_who_answers_for_children_of_two_families_gets_a_link_to_each(client, home):
    other = factories.HouseholdFactory(name="Wren family", guardian="Ida", email="ida@example.org")
    ask(client, "ida@example.org")
    assert {each.household for each in Message.objects.all()} == {home, other}


def test_what_is_no_address_is_said_so_with_what_was_typed(client, home):
    answer = ask(client, "ida at example")
    assert answer.status_code == 422
    assert "ida at example" in answer.content.decode()
    assert Message.objects.count() == 0


def test_a_link_that_ended_leads_there(client, home):
    Guardian.objects.update(link_version=9)
    assert f'href="{reverse("account:new_link")}"' in client.get("/open/x/").content.decode()
