"""What a phone has tapped reaches the book, whatever becomes of session, storage, line and clock meanwhile."""

import json
import uuid
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from clubdesk.rangeday import kits, services
from clubdesk.rangeday.models import Kit, SignOn, Tap
from clubdesk.verbs import shell_user
from tests import factories
from tests.browser.at_the_range import all_is_sent, find, opened, show
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import PASSWORD, TODAY

KEEP = """([day, tap]) => localStorage.setItem(`range-day-${day} ${tap.key}`, JSON.stringify(tap))"""
NO_ROOM = """() => { Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); }; }"""


TWO_HOURS_FAST = """
    const real = Date.now;
    window.Date = class extends Date {
        constructor(...given) { super(...(given.length ? given : [real() + 7200e3])); }
        static now() { return real() + 7200e3; }
    };
"""


def own_gear(page, number):
    find(page, number)
    page.get_by_role("button", name=f"Nara{number:02d} Mirabar: own gear").click()
    expect(page.locator("#last")).to_contain_text(f"Nara{number:02d} Mirabar is on")


def tap(owner, **more):
    made = {"key": str(uuid.uuid4()), "owner": owner.pk, "name": "Tomas", "people": [], "gear": "visitor"}
    return made | {"paid": "card", "visitor_name": "Noor"} | more


def keep(page, day, made):
    page.evaluate(KEEP, [day.pk, made | {"at": made.get("at") or page.evaluate("new Date().toISOString()")}])


@pytest.fixture(autouse=True)
def once(size):
    if size[0] > 500:
        pytest.skip("the helper is on a phone")


class TestSignedOut:
    def test_signing_in_again_in_another_tab_is_enough(self, site, day):
        page = opened(site, day)
        page.context.clear_cookies()
        own_gear(page, 7)
        expect(page.locator("#asks")).to_contain_text("You are signed out; what you tap is kept on this phone.")
        assert accessible(page) == []
        assert fits(page)
        with page.expect_popup() as opening:
            page.get_by_role("link", name="Sign in in another tab").click()
        other = opening.value
        other.get_by_label("Username").fill("range-helper")
        other.get_by_label("Password").fill(PASSWORD)
        other.get_by_role("button", name="Sign in", exact=True).click()
        expect(other.get_by_label("Who is here?")).to_be_visible()
        page.bring_to_front()
        own_gear(page, 8)
        all_is_sent(page)
        expect(page.locator("#asks")).to_be_hidden()
        assert SignOn.objects.count() == 2

    def test_a_stale_token_alone_is_nobodys_concern(self, site, day):
        page = opened(site, day)
        cookies = [each for each in page.context.cookies() if each["name"] != "csrftoken"]
        page.context.clear_cookies()
        page.context.add_cookies(cookies)
        own_gear(page, 7)
        all_is_sent(page)
        expect(page.locator("#asks")).to_be_hidden()
        assert SignOn.objects.count() == 1


class TestNoRoom:
    def test_without_room_on_the_phone_taps_are_sent_from_memory_and_it_says_so(self, site, day):
        page = opened(site, day)
        page.evaluate(NO_ROOM)
        page.context.set_offline(True)
        for number in range(3):
            own_gear(page, number)
        expect(page.locator("#waits")).to_have_text("3 entries wait to be sent.")
        expect(page.locator("#asks")).to_contain_text("This phone has no room to keep entries: leave this page open")
        assert accessible(page) == []
        page.context.set_offline(False)
        all_is_sent(page)
        expect(page.locator("#asks")).to_be_hidden()
        assert SignOn.objects.count() == 3

    def test_a_phone_that_keeps_nothing_for_pages_signs_on_too(self, site, day):
        page = site("helper")
        page.add_init_script("Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no'); }})")
        page.goto(f"/range/{day.pk}/")
        own_gear(page, 7)
        all_is_sent(page)
        assert SignOn.objects.count() == 1
        page.problems.clear()


def test_a_request_that_hangs_stops_the_others_for_twenty_seconds_and_no_longer(site, day):
    page = site("helper")
    page.clock.install()
    with page.expect_response("**/taps/**"):
        page.goto(f"/range/{day.pk}/")
    all_is_sent(page)
    page.wait_for_timeout(300)
    hanging = []
    page.route("**/taps/**", lambda route: hanging.append(route))
    for _ in range(3):
        page.clock.run_for(3000)
        page.wait_for_timeout(300)
    assert len(hanging) == 1
    page.unroute("**/taps/**")
    find(page, 7)
    page.clock.run_for(1000)
    page.get_by_role("button", name="Nara07 Mirabar: own gear").click()
    expect(page.locator("#waits")).to_have_text("1 entry waits to be sent.")
    page.clock.run_for(26_000)
    page.clock.run_for(1000)
    all_is_sent(page)
    assert SignOn.objects.count() == 1


class TestOddEntries:
    def test_an_entry_that_nobody_can_read_empties_no_sheet_and_stops_no_other(self, site, day, people):
        page = opened(site, day)
        for number, text in enumerate(["{", "3", "null", '{"key": 3}', json.dumps({"key": "x", "owner": 1})]):
            page.evaluate("([name, text]) => localStorage.setItem(name, text)", [f"range-day-{day.pk} {number}", text])
        keep(page, day, tap(people["helper"], people=7))
        page.reload()
        own_gear(page, 7)
        all_is_sent(page)
        expect(page.locator("#count")).to_have_text("On the range: 2")
        assert SignOn.objects.count() == 2

    def test_an_entry_that_the_book_cannot_read_is_named_and_the_others_are_taken(self, site, day, people):
        page = opened(site, day)
        for gear in ("tank", "visitor"):
            keep(page, day, tap(people["helper"], gear=gear, visitor_name=f"Noor {gear}"))
        page.reload()
        expect(page.locator("#asks")).to_contain_text("Not taken: Noor tank")
        assert accessible(page) == []
        page.get_by_role("button", name="I have read it").click()
        expect(page.locator("#asks")).to_be_hidden()
        all_is_sent(page)
        assert [row.visitor_name for row in SignOn.objects.all()] == ["Noor visitor"]


def test_kit_given_out_by_a_phone_two_hours_fast_comes_back(site, day):
    bow = Kit.objects.create(number="B01", kind="bow")
    fast = site("helper")
    fast.add_init_script(TWO_HOURS_FAST)
    right = opened(site, day, "coordinator")
    fast.goto(f"/range/{day.pk}/")
    find(fast, 7)
    fast.get_by_role("button", name="Nara07 Mirabar: hire $7.00").click()
    fast.get_by_role("button", name="Cash $7.00").click()
    fast.locator("#kit-last").click()
    fast.get_by_role("button", name="Bow B01").click()
    all_is_sent(fast)
    assert bow.loans.get().back_at is None
    show(right, "Kit out")
    right.locator("#out").get_by_role("button", name="Bow B01 back").click()
    all_is_sent(right)
    assert list(kits.kit_out()) == []


class TestOtherDays:
    def test_entries_of_another_days_sheet_are_sent_from_any_sheet(self, site, day, people):
        other = factories.range_day(TODAY - timedelta(days=7))
        page = opened(site, day)
        keep(page, other, tap(people["helper"]))
        page.reload()
        all_is_sent(page)
        assert Tap.objects.get().range_day == other
        assert page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('range-day'))") == []

    def test_home_says_what_waits_on_this_phone_and_sends_it(self, site, day, people):
        page = opened(site, day)
        page.route("**/taps/**", lambda route: route.abort())
        page.on("dialog", lambda dialog: dialog.accept())
        own_gear(page, 7)
        page.goto("/")
        told = page.locator("[data-entries]")
        expect(told).to_have_text("1 entry of a range day waits on this phone to be sent.")
        assert accessible(page) == []
        assert fits(page)
        page.unroute("**/taps/**")
        page.evaluate("dispatchEvent(new Event('online'))")
        expect(told).to_have_text("All entries of the range day are sent.")
        assert SignOn.objects.count() == 1

    def test_home_names_whose_entries_wait_and_sends_none_of_another_persons(self, site, day, people):
        page = opened(site, day)
        keep(page, day, tap(people["coordinator"], name="Ines"))
        page.goto("/")
        expect(page.locator("[data-entries]")).to_have_text(
            "Entries of Ines wait on this phone: Ines must sign in here."
        )
        assert not Tap.objects.exists()


def test_what_is_asked_goes_from_the_phone_once_it_is_settled(site, day, people):
    phones = [opened(site, day), opened(site, day, "coordinator")]
    for page in phones:
        page.context.set_offline(True)
        find(page, 3)
        page.get_by_role("button", name="Nara03 Mirabar: hire $7.00").click()
        page.get_by_role("button", name="Cash $7.00").click()
    for page in phones:
        page.context.set_offline(False)
        all_is_sent(page)
    asked = "The coordinator will be asked: Nara03 Mirabar is signed on already today."
    expect(phones[1].locator("#asks")).to_have_text(asked)
    question = Tap.objects.get(state="question")
    services.answer_tap(tap=question, record=False, answer="one payment", on=TODAY, by=shell_user())
    phones[1].evaluate("dispatchEvent(new Event('online'))")
    expect(phones[1].locator("#asks")).to_be_hidden()
