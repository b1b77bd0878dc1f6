"""The sheet of a range day opened where there is no reception, after it was opened once with it."""

from datetime import timedelta

import pytest
from playwright.sync_api import Error, expect

from clubdesk import clock
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount, in_pieces, nil
from clubdesk.rangeday import services
from clubdesk.rangeday.models import Phone, SignOn
from clubdesk.verbs import shell_user
from tests.browser.at_the_range import all_is_sent, find
from tests.browser.conftest import session_of
from tests.browser.test_scenes import accessible, fits, sound
from tests.worlds.day_one import TODAY
from tests.worlds.full_range import CHILDREN

PAGES = """async () => {
    const found = [];
    for (const name of await caches.keys())
        for (const each of await (await caches.open(name)).keys()) found.push(new URL(each.url).pathname);
    return found.filter((path) => path.startsWith("/range/"));
}"""
"""The pages that are kept on the phone."""
FEW = 12
OF_YESTERDAY = """async () => {
    const [name] = await caches.keys();
    const [was, old] = [await caches.open(name), await caches.open(`range-day ${Date.now() - 1000}`)];
    for (const each of await was.keys()) await old.put(each, await was.match(each, {ignoreVary: true}));
    await caches.delete(name);
}"""


@pytest.fixture
def phone(chromium, live_server, people, day, monkeypatch):
    """A helper's phone with all that pages keep on it; by its own clock the range day lasts six hours more."""
    monkeypatch.setattr(clock, "start_of", lambda on: clock.machine() + timedelta(hours=6 if on > TODAY else -1))
    context = a_phone(chromium, live_server, people["helper"])
    yield context
    context.close()


def a_phone(chromium, live_server, of):
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, locale="en-AU", base_url=live_server.url, has_touch=True
    )
    context.add_cookies([{"name": "sessionid", "value": session_of(of), "url": live_server.url}])
    return context


def kept(page):
    page.wait_for_timeout(300)
    return page.evaluate(PAGES)


@pytest.fixture
def sheet(phone, day):
    """The sheet, opened once with reception, as it is kept."""
    return opened_once(phone, day)


def opened_once(phone, day):
    page = phone.new_page()
    page.goto(f"/range/{day.pk}/")
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    for _ in range(50):
        if kept(page):
            break
    page.wait_for_timeout(500)
    return page


def opened_again(phone, path):
    page = phone.new_page()
    page.goto(path)
    return page


def test_opened_without_reception_it_signs_on_each_once(phone, sheet, day):
    sheet.close()
    phone.set_offline(True)
    page = opened_again(phone, f"/range/{day.pk}/")
    expect(page.locator("#asks")).to_contain_text("No reception yet: this sheet is as of")
    assert fits(page)
    assert accessible(page) == []
    sign_on(page, range(FEW))
    expect(page.locator("#waits")).to_have_text(f"{FEW} entries wait to be sent.")
    phone.set_offline(False)
    all_is_sent(page)
    expect(page.locator("#asks")).to_be_hidden()
    assert SignOn.objects.count() == FEW
    assert balance(Role.TILL, TODAY) == 7 * (FEW // 2)
    assert sound()


def sign_on(page, numbers):
    """Every other one with own gear, the rest hire and pay in cash."""
    for number in numbers:
        find(page, number)
        name = f"Nara{number:02d} Mirabar"
        if number % 2:
            page.get_by_role("button", name=f"{name}: own gear").click()
        else:
            page.get_by_role("button", name=f"{name}: hire $7.00").click()
            page.get_by_role("button", name="Cash $7.00").click()


@pytest.mark.slow
def test_two_phones_that_were_opened_the_day_before_and_one_goes_flat(
    phone, chromium, live_server, day, people, monkeypatch
):
    """Network off from the start, 65 people; what the flat one had sent is there, the rest is known by number."""
    people["helper"].first_name = "Tomas"
    people["helper"].save()
    other = a_phone(chromium, live_server, people["coordinator"])
    with monkeypatch.context() as before:
        before.setattr(clock, "today", lambda: TODAY - timedelta(days=1))
        for each in (phone, other):
            opened_once(each, day).close()
    for each in (phone, other):
        each.set_offline(True)
    flat, lasts = (opened_again(each, f"/range/{day.pk}/") for each in (phone, other))
    sign_on(flat, range(30))
    sign_on(lasts, range(30, CHILDREN))
    phone.set_offline(False)
    all_is_sent(flat)
    phone.set_offline(True)
    phone.close()
    other.set_offline(False)
    all_is_sent(lasts)
    expect(lasts.locator("#count")).to_have_text(f"On the range: {CHILDREN}")
    Phone.objects.filter(user=people["helper"]).update(seen_at=clock.machine() - timedelta(minutes=9), unsent=1)
    expect(lasts.locator("#asks")).to_contain_text("Not heard of: phone of Tomas, last seen", timeout=20_000)
    expect(lasts.locator("#asks")).to_contain_text("with 1 entry to send")
    assert accessible(lasts) == []
    other.close()
    hired = sum(number % 2 == 0 for number in range(CHILDREN))
    assert SignOn.objects.count() == SignOn.objects.values("person").distinct().count() == CHILDREN
    assert balance(Role.TILL, TODAY) == 7 * hired
    close = {"second_counter": people["helper"], "by": people["coordinator"], "on": TODAY}
    count = services.close_day(range_day=day, pieces=in_pieces(as_amount(7 * hired)), **close)
    assert (count.difference, count.counted) == (nil(), as_amount(7 * hired))
    assert sound()


def test_the_address_of_today_leads_to_it_too(phone, sheet):
    phone.set_offline(True)
    expect(opened_again(phone, "/today/").get_by_label("Who is here?")).to_be_visible()


def test_a_site_that_is_broken_locks_nobody_out(phone, sheet, day, monkeypatch):
    def broken(*given, **named):
        raise RuntimeError("a failed update")

    monkeypatch.setattr("clubdesk.rangeday.selectors.prices", broken)
    page = phone.new_page()
    page.goto(f"/range/{day.pk}/")
    expect(page.get_by_label("Who is here?")).to_be_visible()


def test_with_reception_it_is_as_the_site_has_it_now(phone, sheet, day, people):
    other = opened_again(phone, f"/range/{day.pk}/")
    other.close()
    people["helper"].first_name = "Tomas"
    people["helper"].save()
    assert '"name": "Tomas' in opened_again(phone, f"/range/{day.pk}/").locator("#told").text_content()


def test_signing_out_leaves_nothing_of_it(phone, sheet, day):
    page = opened_again(phone, "/")
    assert kept(page) == [f"/range/{day.pk}/"]
    page.locator("details.me > summary").click()
    page.get_by_role("button", name="Log out").click()
    page.wait_for_load_state()
    assert kept(page) == []
    phone.set_offline(True)
    with pytest.raises(Error, match="net::ERR_"):
        opened_again(phone, f"/range/{day.pk}/")


def test_whoever_comes_to_sign_in_finds_nothing_of_another(phone, sheet):
    phone.clear_cookies()
    assert kept(opened_again(phone, "/")) == []


def test_a_closed_day_leaves_nothing_of_it(phone, sheet, day):
    services.call_off_day(range_day=day, reason="hail", on=TODAY, by=shell_user())
    expect(sheet.get_by_text("This day was called off: hail.")).to_be_visible(timeout=20_000)
    assert kept(sheet) == []


def test_after_its_day_it_does_not_open(phone, sheet, day):
    sheet.evaluate(OF_YESTERDAY)
    phone.set_offline(True)
    with pytest.raises(Error, match="net::ERR_"):
        opened_again(phone, f"/range/{day.pk}/")
    phone.set_offline(False)
    assert kept(opened_again(phone, "/")) == []
