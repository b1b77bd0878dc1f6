"""The sheet of a range day under quick fingers, a mouse and a keyboard: whoever was meant signs on, and nobody else."""

import json

import pytest
from playwright.sync_api import expect

from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.rangeday import services
from clubdesk.rangeday.models import Gear, Paid, SignOn
from clubdesk.roll.models import Person
from clubdesk.verbs import shell_user
from tests.browser.at_the_range import all_is_sent, find, opened, show, siblings
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import TODAY

SLIDES = """() => {
    const row = Object.assign(document.createElement("li"), {className: "row", style: "height: 60px"});
    document.querySelector("#found").prepend(row);
}"""
FOCUSED = """() => {
    const at = document.activeElement;
    return at.id || at.getAttribute("aria-label") || at.tagName;
}"""
OVER = 450
"""Milliseconds after which a list moves again."""


def who_is_on():
    return sorted(str(row.person) for row in SignOn.objects.filter(cancelled_on=None))


def middle(button):
    box = button.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def first_row(page, words="own gear"):
    return page.locator("#found").get_by_role("button", name=words).first


def test_a_double_tap_on_the_first_row_signs_on_one_child(site, size, day):
    page = opened(site, day)
    for quick in (1, 2):
        button = first_row(page)
        name = button.get_attribute("aria-label").partition(":")[0]
        at = middle(button)
        for _ in range(quick):
            (page.touchscreen.tap if size[0] < 500 else page.mouse.click)(*at)
        page.wait_for_timeout(OVER)
        expect(page.locator("#last")).to_have_text(f"{name} is on: own gear.")
    all_is_sent(page)
    assert who_is_on() == ["Nara00 Mirabar", "Nara01 Mirabar"]


def test_a_list_that_would_move_under_a_finger_waits_until_it_is_lifted(site, day, people):
    page = opened(site, day)
    button = first_row(page)
    page.mouse.move(*middle(button))
    page.mouse.down()
    first = Person.objects.get(given_name="Nara00")
    services.sign_on(range_day=day, person=first, gear=Gear.OWN, paid=Paid.NOTHING, by=people["coordinator"])
    second = page.get_by_role("button", name="Nara01 Mirabar: own gear")
    stood = middle(second)
    with page.expect_response("**/taps/**"):
        page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_timeout(200)
    assert middle(second) == stood
    page.mouse.up()
    page.wait_for_timeout(OVER)
    all_is_sent(page)
    assert who_is_on() == ["Nara00 Mirabar"]
    assert middle(second) == stood, "who signs on elsewhere stays in the list until it is asked anew"
    find(page, 0)
    expect(page.get_by_text("Nobody with “nara00”")).to_be_visible()


def test_a_tap_counts_for_the_row_it_began_on_whatever_slides_under_it(site, size, day):
    page = opened(site, day)
    page.mouse.move(*middle(first_row(page)))
    page.mouse.down()
    page.evaluate(SLIDES)
    page.mouse.up()
    all_is_sent(page)
    expect(page.locator("#last")).to_have_text("Nara00 Mirabar is on: own gear.")
    page.wait_for_timeout(OVER)
    button = first_row(page)
    page.mouse.move(*middle(button))
    page.mouse.down()
    page.mouse.move(*middle(page.get_by_role("button", name="Nara02 Mirabar: own gear")))
    page.mouse.up()
    page.wait_for_timeout(OVER)
    assert who_is_on() == ["Nara00 Mirabar"]


def test_no_press_of_a_mouse_is_lost_to_what_arrives_meanwhile(site, size, day):
    if size[0] < 500:
        pytest.skip("a phone has no mouse")
    page = opened(site, day)
    for number in range(30):
        find(page, number)
        button = page.get_by_role("button", name=f"Nara{number:02d} Mirabar: own gear")
        expect(button).to_be_visible()
        page.mouse.move(*middle(button))
        page.mouse.down()
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_timeout(60)
        page.mouse.up()
        page.wait_for_timeout(OVER)
    all_is_sent(page)
    assert len(who_is_on()) == 30


def test_a_second_tap_takes_no_other_sum(site, size, day):
    siblings("Bela", "Cato")
    page = opened(site, day)
    page.get_by_label("Who is here?").fill("bela")
    at = middle(page.get_by_role("button", name="Bela Mirabar: hire $7.00"))
    for _ in range(2):
        (page.touchscreen.tap if size[0] < 500 else page.mouse.click)(*at)
    page.get_by_role("button", name="Cash $7.00").dblclick()
    all_is_sent(page)
    assert balance(Role.TILL, TODAY) == 7
    assert who_is_on() == ["Bela Mirabar"]


def test_and_siblings_signs_a_family_on_in_two_taps(site, size, day):
    siblings("Bela", "Cato", "Dara")
    page = opened(site, day)
    page.get_by_label("Who is here?").fill("bel")
    page.get_by_role("button", name="Bela Mirabar and siblings").click()
    expect(page.get_by_label("with Cato Mirabar")).to_be_checked()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Cash $21.00").click()
    expect(page.locator("#last")).to_have_text("Bela, Cato and Dara Mirabar are on: $21.00 cash.")
    all_is_sent(page)
    assert balance(Role.TILL, TODAY) == 21
    assert len(who_is_on()) == 3
    show(page, "Taken")
    expect(page.locator("#sums")).to_contain_text("In all$21.00")
    page.locator("#undo-last").click()
    expect(page.locator("#last")).to_have_text("Bela, Cato and Dara Mirabar are not on any more.")
    all_is_sent(page)
    assert who_is_on() == []


def test_one_sibling_stays_at_home(site, day):
    siblings("Bela", "Cato", "Dara")
    page = opened(site, day)
    page.get_by_label("Who is here?").fill("bel")
    page.get_by_role("button", name="Bela Mirabar and siblings").click()
    page.get_by_label("with Dara Mirabar").uncheck()
    page.get_by_role("button", name="Own gear", exact=True).click()
    expect(page.locator("#last")).to_have_text("Bela and Cato Mirabar are on: own gear.")
    all_is_sent(page)
    assert who_is_on() == ["Bela Mirabar", "Cato Mirabar"]


def focused(page):
    return page.evaluate(FOCUSED)


def test_by_keys_the_focus_never_falls_away_and_is_at_the_finder_after_each_act(site, size, day):
    if size[0] < 500:
        pytest.skip("a phone has no keys")
    page = opened(site, day)
    page.get_by_label("Who is here?").focus()
    for number in range(3):
        page.keyboard.type(f"nara{number:02d}")
        own = page.get_by_role("button", name=f"Nara{number:02d} Mirabar: own gear")
        expect(own).to_be_visible()
        own.focus()
        with page.expect_response("**/taps/**"):
            page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_timeout(100)
        assert focused(page) == f"Nara{number:02d} Mirabar: own gear"
        page.keyboard.press("Enter")
        all_is_sent(page)
        assert focused(page) == "find"
    page.keyboard.press("Tab")
    assert focused(page) == "undo-last"
    page.keyboard.press("Enter")
    all_is_sent(page)
    assert focused(page) == "find"
    assert len(who_is_on()) == 2


def test_the_focus_goes_to_the_finder_where_another_phone_takes_its_row(site, size, day, people):
    if size[0] < 500:
        pytest.skip("a phone has no keys")
    page = opened(site, day)
    find(page, 7)
    page.get_by_role("button", name="Nara07 Mirabar: own gear").focus()
    seventh = Person.objects.get(given_name="Nara07")
    services.sign_on(range_day=day, person=seventh, gear=Gear.OWN, paid=Paid.NOTHING, by=shell_user())
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator("#count")).to_have_text("On the range: 1")
    assert focused(page) == "find"


def test_whoever_listens_hears_who_was_signed_on_and_what_was_taken(site, day):
    page = opened(site, day)
    page.evaluate(
        """window.heard = []; new MutationObserver(() => heard.push(document.querySelector("#last").textContent))
        .observe(document.querySelector("#last"), {childList: true, characterData: true, subtree: true})"""
    )
    find(page, 7)
    page.get_by_role("button", name="Nara07 Mirabar: hire $7.00").click()
    page.get_by_role("button", name="Card $7.00").click()
    all_is_sent(page)
    page.wait_for_timeout(OVER)
    assert page.get_by_role("status").first.inner_text() == "Nara07 Mirabar is on: hired gear, $7.00 card."
    assert json.loads(page.evaluate("JSON.stringify(heard)")) == ["Nara07 Mirabar is on: hired gear, $7.00 card."]


def test_a_page_that_nobody_sees_asks_for_nothing(site, size, day):
    if size[0] < 500:
        pytest.skip("once is enough")
    page = opened(site, day)
    all_is_sent(page)
    page.evaluate("Object.defineProperty(document, 'hidden', {value: true, configurable: true})")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.wait_for_timeout(6000)
    assert asked == []
    page.evaluate("delete document.hidden")
    with page.expect_request("**/taps/**"):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
