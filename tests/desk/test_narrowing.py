"""An address narrows a list only by its own filters, so that nobody guesses what they may not see."""

import pytest
from django.test import RequestFactory
from django.urls import reverse

from clubdesk import rooms
from clubdesk.desk.house.pages import screens

pytestmark = pytest.mark.django_db
SECRET = {"birth_date", "phone", "email", "bsb", "account_number", "visitor_phone", "code", "reason", "notes"}


@pytest.fixture
def asked(keeper):
    request = RequestFactory().get("/")
    request.user = keeper
    return request


def test_no_list_is_narrowed_by_what_may_be_secret(asked):
    found = [
        f"{screen.named_as} by {lookup}"
        for screen in screens()
        for field in screen.opts.get_fields()
        for lookup in (
            field.name,
            f"{field.name}__birth_date",
            f"{field.name}__household__guardians__phone__startswith",
        )
        if (field.name in SECRET or "__" in lookup) and screen.lookup_allowed(lookup, "1", asked)
    ]
    assert found == []
    assert any(field.name in SECRET for screen in screens() for field in screen.opts.get_fields())


@pytest.mark.parametrize("lookup", ["birth_date", "birth_date__gte", "household__guardians__phone__contains", "pk"])
def test_a_helper_who_guesses_a_birth_date_in_the_address_is_told_nothing(client, range_helper, lookup):
    client.force_login(range_helper)
    people = reverse("admin:roll_person_changelist")
    assert client.get(people).status_code == 200
    assert client.get(f"{people}?{lookup}=2015-03-09").status_code == 400


def test_what_home_leads_to_is_narrowed_as_it_says(client, keeper):
    client.force_login(keeper)
    narrowed = [(each.page, each.query) for room in rooms.in_order() for each in room.waits if each.query]
    assert len(narrowed) > 5
    for page, query in narrowed:
        assert client.get(f"{reverse(page)}?{query}").status_code == 200, page
