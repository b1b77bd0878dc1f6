"""What a phone shows first: filters in one line above their list, and the way home from the sheet."""

import pytest
from playwright.sync_api import expect

from tests import factories
from tests.browser.test_scenes import fits
from tests.worlds.day_one import TODAY


def top_of(page, css):
    return page.locator(css).first.bounding_box()["y"]


@pytest.fixture
def is_phone(size):
    return size[0] < 500


def test_filters_stand_above_a_long_list_in_one_line_and_open(site, people, is_phone):
    for _ in range(3):
        factories.HouseholdFactory()
    page = site("coordinator")
    page.goto("/roll/household/")
    inside = page.get_by_role("link", name="owes the club")
    if not is_phone:
        expect(inside).to_be_visible()
        return
    expect(inside).to_be_hidden()
    assert top_of(page, ".filters") < top_of(page, "#result_list")
    page.get_by_text("Filter this list").click()
    inside.click()
    expect(page.get_by_role("link", name="owes the club")).to_be_visible()
    assert fits(page)


def test_the_sheet_has_a_plain_link_home(site, people, is_phone):
    day = factories.range_day(TODAY)
    page = site("helper")
    page.goto(f"/range/{day.pk}/")
    home = page.locator(".home-link")
    expect(home).to_be_visible() if is_phone else expect(home).to_be_hidden()
    assert fits(page)
