"""Writing to many families in Chromium: chosen, written, looked at, tried on oneself and sent; and the news ended."""

import pytest
from playwright.sync_api import expect

from clubdesk.mail.models import Message
from tests import factories, families
from tests.browser.test_scenes import accessible, fits

TEXT = "Our fair is on 3 October.\n\nWe hope to see {children}."


@pytest.fixture
def homes(people):
    """Four families with an address and one without."""
    coordinator = people["coordinator"]
    coordinator.email = "co@example.org"
    coordinator.save()
    found = []
    for name, email in (("Bilby", "b@example.org"), ("Numbat", ""), ("Potoroo", "p@example.org"),
                        ("Quoll", "q@example.org"), ("Wambenger", "w@example.org")):  # fmt: skip
        home = factories.HouseholdFactory(name=f"{name} family", guardian=f"Ida {name}", email=email, phone="08 7010 1")
        for child in ("Ada", "Ben"):
            factories.PersonFactory(household=home, given_name=child, family_name=name)
        found.append(home)
    return found


def test_a_letter_to_all_families_is_looked_at_tried_and_sent(site, homes):
    page = site("coordinator")
    page.goto("/news/write/")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_label("To", exact=True).select_option("families:0")
    page.get_by_label("Subject").fill("Our fair")
    page.get_by_label("Text").fill(TEXT)
    page.get_by_role("button", name="See the letters").click()
    expect(page.get_by_role("heading", name="4 letters go out")).to_be_visible()
    expect(page.get_by_role("article")).to_have_count(3)
    expect(page.get_by_text("We hope to see Ada and Ben.").first).to_be_visible()
    assert page.get_by_role("link", name="08 7010 1").get_attribute("href") == "tel:0870101"
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Send a test to myself").click()
    expect(page.get_by_text("A test with invented children goes to co@example.org.")).to_be_visible()
    page.get_by_role("button", name="Send 4 letters").click()
    expect(page.get_by_text("4 letters go out.")).to_be_visible()
    expect(page.get_by_text("Not reached by mail: ring them")).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
    assert Message.objects.filter(is_news=True).count() == 5


def test_an_unknown_field_is_marked_and_what_was_typed_stays(site, homes):
    page = site("coordinator")
    page.goto("/news/write/")
    page.get_by_label("To", exact=True).select_option("families:0")
    page.get_by_label("Subject").fill("Our fair")
    page.get_by_label("Text").fill("Dear {parent}")
    page.get_by_role("button", name="See the letters").click()
    expect(page.get_by_text("{parent} is no field").first).to_be_visible()
    expect(page.get_by_label("Text")).to_have_value("Dear {parent}")
    assert fits(page)


def test_families_ticked_in_a_list_are_written_to(site, homes):
    page = site("coordinator")
    page.goto("/roll/household/?q=Quoll")
    page.locator("#result_list tbody tr").filter(has_text="Quoll family").locator("input").check()
    page.get_by_role("combobox", name="Action").select_option("write_to_these")
    page.get_by_role("button", name="Go").click()
    expect(page.get_by_label("To", exact=True)).to_have_value("chosen")
    assert fits(page)
    assert accessible(page) == []


def test_a_family_ends_the_news_by_one_button(site, homes):
    page = site("coordinator")
    page.goto(families.link(homes[0], "/news/"))
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="End the news").click()
    expect(page.get_by_role("button", name="I agree: send me your news again")).to_be_visible()
    assert homes[0].guardians.get().news_ended_at
