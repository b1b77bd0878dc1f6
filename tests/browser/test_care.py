"""Whom to ring and what to know in Chromium: one tap on the sheet, the family's own pages, and the person's page."""

from datetime import date

import pytest
from playwright.sync_api import expect

from clubdesk.care import services as care
from clubdesk.care.models import HealthNote, Kind, Look
from clubdesk.care.selectors import Contact
from clubdesk.care.services import Health, Said
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.roll.models import Person
from clubdesk.verbs import shell_user
from tests import families
from tests.browser.at_the_range import show
from tests.browser.test_scenes import accessible, fits

NOW = date(2026, 9, 12)
UNCLE = Contact("Odo Vinegrove", "08 7010 0177", "uncle")


@pytest.fixture
def child(day):
    """Somebody who is on the range, with all that a family can say."""
    person = Person.objects.get(given_name="Nara07")
    guardian = families.guardian_of(person.household)
    said = Said(
        [UNCLE, Contact("Una Pell", "0400 000 111", "aunt")],
        [UNCLE],
        Health(allergy="Bee stings: swells at once", medication="Adrenaline pen in the front pocket of her bag"),
        {Kind.PHOTOS: False, Kind.FIRST_AID: True, Kind.DATA: True},
    )
    care.keep_by_family(guardian=guardian, person=person, said=said, on=NOW, by=shell_user())
    rangeday.sign_on(range_day=day, person=person, gear=Gear.HIRE, paid=Paid.CASH, by=shell_user())
    return person


def on_the_sheet(site, day):
    page = site("helper")
    page.goto(f"/range/{day.pk}/")
    expect(page.locator("#count")).to_have_text("On the range: 1")
    show(page, "On range")
    return page


def kept(page):
    """All that the browser keeps of the site where scripts can reach it."""
    return page.evaluate(
        """async () => {
          const found = [JSON.stringify({ ...localStorage }), JSON.stringify({ ...sessionStorage }), document.cookie];
          for (const name of await caches.keys())
            for (const each of await (await caches.open(name)).keys()) found.push(each.url);
          return found.join(" ");
        }"""
    )


def test_one_tap_on_a_name_shows_whom_to_ring_and_what_to_know(site, day, child):
    page = on_the_sheet(site, day)
    page.get_by_role("link", name="Nara07 Mirabar: whom to ring, what to know").click()
    card = page.locator("#care")
    expect(card.get_by_role("link", name="Ring Odo Vinegrove, uncle")).to_have_attribute("href", "tel:0870100177")
    expect(card).to_contain_text("Bee stings: swells at once")
    expect(card).to_contain_text("No photos")
    assert card.get_by_role("link").first.bounding_box()["height"] >= 48
    assert fits(page)
    assert accessible(page) == []
    assert "Vinegrove" not in kept(page)
    assert "Bee stings" not in kept(page)
    assert Look.objects.get().person == child
    page.get_by_role("button", name="Done").last.click()
    expect(card).to_be_hidden()
    assert "Bee stings" not in page.content()


def test_without_reception_a_sentence_says_so_and_nothing_stays(site, day, child):
    page = on_the_sheet(site, day)
    link = page.get_by_role("link", name="Nara07 Mirabar: whom to ring")
    link.click()
    expect(page.locator("#care")).to_contain_text("Bee stings")
    page.context.set_offline(True)
    link.click()
    expect(page.locator("#care")).to_contain_text("This needs reception")
    assert "Bee stings" not in page.content()
    page.context.set_offline(False)


def test_the_name_is_a_plain_link_too(site, day, child):
    page = on_the_sheet(site, day)
    page.goto(page.get_by_role("link", name="Nara07 Mirabar: whom to ring").get_attribute("href"))
    expect(page.get_by_role("link", name="Odo Vinegrove")).to_have_attribute("href", "tel:0870100177")
    assert fits(page)
    assert accessible(page) == []


@pytest.mark.parametrize("look", ["light", "dark"])
def test_a_family_reads_changes_and_confirms_it(site, child, look):
    page = site("coordinator")
    page.emulate_media(color_scheme=look)
    page.goto(families.link(child.household, "/known/"))
    assert fits(page)
    assert accessible(page) == []
    assert page.get_by_role("button", name="Yes, all of it is right").bounding_box()["y"] < 500
    page.get_by_role("link", name="Change it for Nara07").click()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_label("Allergies").fill("")
    page.get_by_label("Medication").fill("")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("No health note")).to_be_visible()
    page.get_by_role("button", name="Yes, all of it is right").click()
    expect(page.get_by_text("Thank you, that is noted")).to_be_visible()
    assert not HealthNote.objects.exists()


def test_a_family_needs_no_script(chromium, live_server, size, child):
    width, height = size
    context = chromium.new_context(
        viewport={"width": width, "height": height}, base_url=live_server.url, java_script_enabled=False
    )
    page = context.new_page()
    page.goto(families.link(child.household, f"/known/{child.pk}/"))
    page.get_by_label("Medication").fill("Blue puffer")
    page.get_by_role("group", name="Photos").get_by_label("Yes, I agree").check()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Blue puffer")).to_be_visible()
    context.close()


def test_the_coordinator_sees_whom_to_ring_and_opens_the_note_knowingly(site, child):
    page = site("coordinator")
    page.goto(f"/roll/person/{child.pk}/change/")
    expect(page.get_by_text("Odo Vinegrove, uncle")).to_be_visible()
    assert "Bee stings" not in page.content()
    assert fits(page)
    page.get_by_role("link", name="Open it (this is noted)").click()
    expect(page.get_by_text("Bee stings: swells at once").first).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
