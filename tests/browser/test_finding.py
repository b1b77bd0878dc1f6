"""The box that finds, in a real browser: by the key /, by touch, without JavaScript, on a phone and on a laptop."""

import pytest
from playwright.sync_api import expect

from tests import factories
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import PASSWORD

BOX = "Find anything"


@pytest.fixture
def home(people):
    home = factories.HouseholdFactory(
        name="Mirabar family", guardian="Ida Quillfeather", email="ida@example.org", phone="08 7010 0001"
    )
    factories.PersonFactory(household=home, given_name="Zephyrine", family_name="Mirabar")
    return home


@pytest.fixture
def plain(chromium, live_server, size, people):
    """A page in a browser without JavaScript."""
    width, height = size
    context = chromium.new_context(
        viewport={"width": width, "height": height}, base_url=live_server.url, java_script_enabled=False
    )
    yield context.new_page()
    context.close()


def box(page):
    return page.get_by_role("searchbox", name=BOX)


def test_a_misspelt_family_is_found_by_the_key_from_any_page(site, home):
    page = site("coordinator")
    page.goto("/fees/charge/")
    assert fits(page)
    assert accessible(page) == []
    page.keyboard.press("/")
    expect(box(page)).to_be_focused()
    page.keyboard.type("Mirrabar")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Found for “Mirrabar”")
    expect(box(page)).to_have_value("Mirrabar")
    families = page.get_by_role("region", name="Families")
    expect(families.get_by_text("spelt alike")).to_be_visible()
    expect(families).to_contain_text("Ida Quillfeather, 08 7010 0001 · Zephyrine")
    assert fits(page)
    assert accessible(page) == []
    families.get_by_role("link", name="Mirabar family").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Mirabar family")


def test_a_slash_typed_into_a_field_is_a_slash(site, home):
    page = site("coordinator")
    page.goto(f"/roll/household/{home.pk}/receipt/")
    page.get_by_label("Amount").focus()
    page.keyboard.type("1/2")
    expect(page.get_by_label("Amount")).to_have_value("1/2")
    expect(page.get_by_label("Amount")).to_be_focused()


def test_the_key_is_switched_off_on_a_device_and_on_again(site, home):
    page = site("treasurer")
    for works in (False, True):
        page.goto("/find/")
        page.get_by_label("On this device the key / leads to the box").set_checked(works)
        page.goto("/reports/")
        page.keyboard.press("/")
        (expect(box(page)).to_be_focused if works else expect(box(page)).not_to_be_focused)()


def test_it_finds_by_touch_or_mouse_without_javascript(plain, people, home):
    page = plain
    page.goto("/login/")
    page.get_by_label("Username").fill(people["coordinator"].username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    box(page).fill("08 7010 0001")
    page.get_by_role("button", name="Find", exact=True).click()
    page.get_by_role("link", name="Mirabar family").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Mirabar family")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_is_found_and_what_can_be_is_legible_and_fits(site, home, scheme):
    page = site("treasurer")
    page.emulate_media(color_scheme=scheme)
    wrong = {}
    pages = ("/", "/find/", "/find/?q=Zephyrine", f"/find/?q={'x' * 100}", "/fees/receipt/", "/bank/statementline/")
    for path in pages:
        page.goto(path)
        if found := accessible(page) + ([] if fits(page) else ["sticks out sideways"]):
            wrong[path] = found
    assert wrong == {}
