"""Home, the bar and the pages of its places in a real browser, by each role, light and dark."""

import pytest
from playwright.sync_api import expect

from clubdesk.courses import services
from tests import factories
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import TODAY

PLACES = {"coordinator": "/roll/", "treasurer": "/fees/", "approver": "/entryfund/", "helper": "/rangeday/"}


@pytest.fixture
def begun(people):
    """A cohort with an offer that is open, and a range day."""
    cohort = factories.cohort(capacity=1)
    places = [
        services.book_place(person=factories.PersonFactory(), cohort=cohort, by=people["coordinator"], on=TODAY)
        for _ in range(2)
    ]
    services.withdraw_place(place=places[0], on=TODAY, reason="ill", by=people["coordinator"])
    factories.range_day(TODAY)


@pytest.mark.parametrize("who", PLACES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_home_and_the_places_fit_and_are_accessible(site, begun, who, scheme):
    page = site(who)
    page.emulate_media(color_scheme=scheme)
    for address in ("/", "/everything/", PLACES[who]):
        page.goto(address)
        assert fits(page)
        assert accessible(page) == []


def test_the_bar_leads_to_a_place_and_says_where_one_is(site, begun, size):
    page = site("coordinator")
    bar = page.get_by_role("navigation", name="Places, on a phone" if size[0] < 500 else "Places", exact=True)
    bar.get_by_role("link", name="Courses").click()
    expect(page.get_by_role("heading", name="Courses", level=1)).to_be_visible()
    expect(bar.get_by_role("link", name="Courses")).to_have_attribute("aria-current", "true")
    expect(page.get_by_text("Offer open, waiting for an answer")).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="Bookings", exact=True).click()
    expect(bar.get_by_role("link", name="Courses")).to_have_attribute("aria-current", "true")


def test_what_is_ones_own_opens_from_the_corner(site, begun):
    page = site("coordinator")
    page.get_by_label("your sign-in").click()
    expect(page.get_by_role("button", name="Log out")).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
