"""A family's own page in Chromium: how to pay is copied by one tap and read without scripts, and it asks to leave."""

import pytest
from playwright.sync_api import expect

from clubdesk.membership.models import LeaveRequest
from clubdesk.roll.selectors import payment_reference
from clubdesk.verbs import shell_user
from tests import factories, families
from tests.browser.test_scenes import accessible, fits
from tests.whole.test_family_page import Club, Family

MAIN_ACT_WITHIN = 500
"""Pixels from the top within which a phone shows what to do first."""


@pytest.fixture
def family(people):
    factories.paid_into()
    return Family(Club(shell_user()), "Quoll", 2)


@pytest.mark.parametrize("look", ["light", "dark"])
def test_what_to_pay_is_copied_by_one_tap(site, family, look):
    page = site("coordinator")
    page.emulate_media(color_scheme=look)
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.goto(families.link(family.home))
    assert fits(page)
    assert accessible(page) == []
    assert page.get_by_role("heading", name="To pay", exact=True).bounding_box()["y"] < MAIN_ACT_WITHIN
    page.get_by_role("button", name="Copy: Reference").click()
    expect(page.get_by_role("status")).to_have_text("Copied: Reference")
    assert page.evaluate("navigator.clipboard.readText()") == payment_reference(family.home)
    for button in page.get_by_role("button").all():
        assert button.bounding_box()["height"] >= 44


def test_without_scripts_all_of_it_is_read_and_no_button_is_left_over(chromium, live_server, size, family):
    width, height = size
    context = chromium.new_context(
        viewport={"width": width, "height": height}, base_url=live_server.url, java_script_enabled=False
    )
    page = context.new_page()
    page.goto(families.link(family.home))
    expect(page.get_by_text("4500123")).to_be_visible()
    assert page.get_by_role("button").count() == 0
    page.get_by_text("Receipts").click()
    expect(page.get_by_role("link", name="Receipt 1 (PDF)")).to_be_visible()
    page.get_by_role("link", name="Ask to leave").click()
    page.get_by_label("Quoll0 Quoll").check()
    page.get_by_role("button", name="Ask to leave").click()
    expect(page.get_by_text("to leave; we will write to you.").first).to_be_visible()
    assert LeaveRequest.objects.count() == 1
    context.close()


def test_the_page_to_leave_and_a_refusal_on_it_are_for_everybody(site, family):
    page = site("coordinator")
    page.goto(families.link(family.home, "/leaving/"))
    page.get_by_role("button", name="Ask to leave").click()
    expect(page.get_by_text("Tick who leaves.").last).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
