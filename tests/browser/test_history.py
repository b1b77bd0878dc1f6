"""The history of a family, the auditor's list, and the page that sends a new link, in Chromium."""

import os

import pytest
from playwright.sync_api import expect

from clubdesk.bank import services as bank
from clubdesk.roll import services as roll
from tests import factories
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import TODAY

SEES = os.environ.get("SEEN_IN")
"""A folder for what the pages look like, for whoever wants to look."""


@pytest.fixture
def family(people):
    kay = people["coordinator"]
    kay.first_name, kay.last_name = "Kay", "Mirabar"
    kay.save()
    family = factories.HouseholdFactory(
        name="the Quoll family", guardian="Ida Quoll", email="ida@example.org", phone="0400 111 222"
    )
    factories.PersonFactory(household=family, given_name="Ada", family_name="Quoll")
    for _ in range(60):
        roll.end_links(household=family, by=kay)
    bank.set_bank_details(
        household=family, title="Ida Quoll", bsb="123-456", account_number="98765432", on=TODAY, reason="rang her",
        by=people["treasurer"],
    )  # fmt: skip
    return family


def looked_at(page, name):
    if SEES:
        page.screenshot(path=f"{SEES}/{name}-{page.viewport_size['width']}.png", full_page=False)


def test_a_family_is_changed_and_its_history_says_so(site, family):
    page = site("coordinator")
    page.goto(f"/roll/household/{family.pk}/change/")
    page.get_by_text("Change these details").press("Enter")
    page.get_by_label("Phone").first.fill("0400 333 444")
    page.get_by_role("button", name="Save", exact=True).click()
    page.goto(f"/roll/household/{family.pk}/change/")
    page.get_by_text("More", exact=True).first.click()
    page.get_by_role("link", name="History").click()
    said = "Kay Mirabar changed the phone of Ida Quoll from 0400 111 222 to 0400 333 444."
    expect(page.get_by_text(said)).to_be_visible()
    looked_at(page, "history")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="Older").click()
    expect(page.get_by_text("added the Quoll family")).to_be_visible()
    assert page.get_by_text("98765432").count() == 0


def test_the_auditor_reads_the_list(site, people, family, auditor):
    people["auditor"] = auditor
    page = site("auditor")
    page.goto("/desk/actrecord/")
    expect(page.get_by_text("added bank details").first).to_be_visible()
    looked_at(page, "list")
    assert fits(page)
    assert accessible(page) == []


def test_a_family_asks_for_a_new_link(site, family):
    page = site("coordinator")
    page.goto("/open/x/")
    page.get_by_role("link", name="Ask for a new link by e-mail").click()
    page.get_by_label("Your e-mail address").fill("ida@example.org")
    looked_at(page, "new-link")
    assert accessible(page) == []
    page.get_by_role("button", name="Send me a link").click()
    expect(page.get_by_role("status")).to_contain_text("a letter with a link is on its way")
    looked_at(page, "new-link-asked")
    assert fits(page)
