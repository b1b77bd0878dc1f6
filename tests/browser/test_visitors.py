"""Visitors sign on by themselves: on their own phone by the code at the table, or on the helper's turned round."""

import pytest
from playwright.sync_api import expect

from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.rangeday import visiting
from clubdesk.rangeday.models import SafetyText, SignOn
from tests.browser.at_the_range import all_is_sent, opened, show
from tests.browser.test_scenes import accessible, fits, sound
from tests.worlds.day_one import TODAY


@pytest.fixture
def rules(day):
    return SafetyText.objects.create(in_force_from=TODAY, text="Stay behind the line until you are called.")


def test_by_the_code_at_the_table_a_visitor_waits_and_the_helper_takes_the_fee(site, chromium, live_server, day, rules):
    helper, other = opened(site, day), opened(site, day, "coordinator")
    phone = chromium.new_page(viewport={"width": 390, "height": 844}, base_url=live_server.url)
    phone.goto(visiting.path_of(day))
    assert fits(phone)
    assert accessible(phone) == []
    phone.get_by_label("Name of who shoots").fill("Mia Solano")
    phone.get_by_label("A child (under 18)").check()
    phone.get_by_role("button", name="Sign on").click()
    expect(phone.locator(".errornote, .faults").first).to_be_visible()
    phone.get_by_label("For a child: guardian’s name").fill("Noor Solano")
    phone.get_by_label("Phone, for a child the guardian’s").fill("08 7010 0101")
    phone.get_by_label("I have read the safety rules").check()
    phone.get_by_role("button", name="Sign on").click()
    expect(phone.get_by_role("heading", name="Thank you")).to_be_visible()
    assert accessible(phone) == []
    phone.close()
    for page in (helper, other):
        expect(page.locator("#table-count")).to_have_text("At the table: 1", timeout=15_000)
    helper.locator("#table-jump").click()
    expect(helper.locator("#table-list")).to_contain_text("a child, guardian Noor Solano · 08 7010 0101")
    assert fits(helper)
    assert accessible(helper) == []
    helper.locator("#table-list").get_by_role("button", name="Cash $15.00").click()
    expect(helper.locator("#last")).to_have_text("Mia Solano is on: visitor with gear, $15.00 cash.")
    for page in (helper, other):
        expect(page.locator("#count")).to_have_text("On the range: 1", timeout=15_000)
        expect(page.locator("#table")).to_be_hidden()
    signed = SignOn.objects.get()
    assert (signed.visitor_guardian, signed.safety) == ("Noor Solano", rules)
    assert balance(Role.TILL, TODAY) == 15
    assert sound()


def test_on_the_phone_turned_round_nothing_of_the_sheet_is_seen_and_the_helper_takes_the_fee(site, day, rules):
    page = opened(site, day)
    page.context.set_offline(True)
    page.get_by_text("New visitor").click()
    page.get_by_role("button", name="Turn the phone round").click()
    expect(page.get_by_label("Who is here?")).to_be_hidden()
    expect(page.get_by_text("Nara")).to_have_count(page.locator("#found li").count())
    for each in page.locator("#found li, .tabs button, #header a, #visitor-ways button").all():
        expect(each).to_be_hidden()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_label("Visitor’s name").fill("Noor Solano")
    page.get_by_role("button", name="Sign on", exact=True).last.click()
    expect(page.get_by_text("Read the safety rules, and tick that you agree.")).to_be_visible()
    page.get_by_label("I have read the safety rules").check()
    page.wait_for_timeout(500)  # the same button twice at once counts once
    page.locator("#visitor-done").click()
    expect(page.get_by_text("Thank you. Now give the phone back to the helper.")).to_be_visible()
    expect(page.get_by_label("Visitor’s name")).to_be_hidden()
    page.get_by_role("button", name="For the helper: back to the sheet").click()
    expect(page.get_by_label("Visitor’s name")).to_have_value("Noor Solano")
    page.locator("#visitor-ways").get_by_role("button", name="Card $15.00").click()
    expect(page.locator("#last")).to_have_text("Noor Solano is on: visitor with gear, $15.00 card.")
    show(page, "On range")
    expect(page.locator("#count")).to_have_text("On the range: 1")
    page.context.set_offline(False)
    all_is_sent(page)
    assert (SignOn.objects.get().safety, balance(Role.CARD_TAKINGS, TODAY)) == (rules, 15)
    assert sound()
