"""The sheet of a range day on a phone: 65 children, poor reception, two helpers."""

import sqlite3
import uuid

import pytest
from playwright.sync_api import expect

from clubdesk import faults
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount, in_pieces
from clubdesk.rangeday import kits, services
from clubdesk.rangeday.models import Kit, SignOn, Tap
from clubdesk.verbs import shell_user
from tests.browser.at_the_range import all_is_sent, find, opened, show
from tests.browser.test_scenes import accessible, fits, sound
from tests.ground.test_faults import of_sqlite, through_django
from tests.worlds.day_one import TODAY
from tests.worlds.full_range import CHILDREN


def test_65_children_sign_on_with_two_taps_each_and_no_reception_for_half_of_it(site, size, day):
    if size[0] > 500:
        pytest.skip("the helper is on a phone")
    page = opened(site, day)
    assert fits(page)
    assert accessible(page) == []
    loads = []
    page.on("framenavigated", lambda frame: loads.append(frame.url))
    for number in range(CHILDREN):
        if number == CHILDREN // 4:
            page.context.set_offline(True)
        if number == 3 * CHILDREN // 4:
            expect(page.locator("#waits")).to_contain_text("entries wait to be sent.")
            assert accessible(page) == []
            page.context.set_offline(False)
        find(page, number)
        name = f"Nara{number:02d} Mirabar"
        if number % 2:
            page.get_by_role("button", name=f"{name}: own gear").click()
        else:
            page.get_by_role("button", name=f"{name}: hire $7.00").click()
            page.get_by_role("button", name="Cash $7.00").click()
    all_is_sent(page)
    expect(page.locator("#count")).to_have_text(f"On the range: {CHILDREN}")
    assert loads == []
    assert SignOn.objects.count() == CHILDREN
    hired = (CHILDREN + 1) // 2
    assert balance(Role.TILL, TODAY) == 7 * hired
    two = {"second_counter": day_counter(), "by": shell_user(), "on": TODAY}
    services.close_day(range_day=day, pieces=in_pieces(as_amount(7 * hired)), **two)
    assert sound()
    expect(page.get_by_text("This day was counted and closed.")).to_be_visible(timeout=20_000)
    assert page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('range-day'))") == []
    assert "Nara" not in page.locator("#content-main").inner_text()


def day_counter():
    from django.contrib.auth import get_user_model

    return get_user_model().objects.get(username="coordinator")


def test_two_phones_with_the_same_child_charge_once_and_ask(site, day):
    first, second = opened(site, day), opened(site, day, "coordinator")
    for page in (first, second):
        page.context.set_offline(True)
        find(page, 3)
        page.get_by_role("button", name="Nara03 Mirabar: hire $7.00").click()
        page.get_by_role("button", name="Cash $7.00").click()
        find(page, 4)
        page.get_by_role("button", name="Nara04 Mirabar: own gear").click()
    for page in (first, second):
        page.context.set_offline(False)
        all_is_sent(page)
    expect(second.locator("#asks")).to_contain_text(
        "The coordinator will be asked: Nara03 Mirabar is signed on already"
    )
    assert balance(Role.TILL, TODAY) == 7
    assert SignOn.objects.count() == 2
    asked = Tap.objects.get(state="question")
    second.goto(f"/rangeday/tap/{asked.pk}/answer/")
    assert fits(second)
    assert accessible(second) == []
    second.get_by_label("What you found out").fill("one payment, tapped twice")
    second.get_by_role("button", name="Save the answer").click()
    expect(second.locator(".messagelist")).to_contain_text("Answered.")
    assert sound()


def test_a_tap_is_undone_and_a_new_visitor_signs_on(site, day):
    page = opened(site, day)
    find(page, 7)
    page.get_by_role("button", name="Nara07 Mirabar: hire $7.00").click()
    page.get_by_role("button", name="Card $7.00").click()
    all_is_sent(page)
    show(page, "On range")
    page.get_by_role("button", name="Undo Nara07 Mirabar").click()
    expect(page.locator("#count")).to_have_text("On the range: 0")
    show(page, "Sign on")
    page.get_by_text("New visitor").click()
    page.get_by_label("Visitor’s name").fill("Noor Solano")
    page.get_by_role("button", name="Cash $15.00").click()
    expect(page.get_by_text("Read the safety rules with them, and tick that they agree.")).to_be_visible()
    page.get_by_label("They were told the range’s safety rules").check()
    assert accessible(page) == []
    page.get_by_role("button", name="Cash $15.00").click()
    expect(page.locator("#count")).to_have_text("On the range: 1")
    all_is_sent(page)
    assert balance(Role.TILL, TODAY) == 15
    assert balance(Role.CARD_TAKINGS, TODAY) == 0
    assert sound()


def test_with_a_full_disk_the_phone_keeps_its_taps_says_why_and_sends_them_later(site, size, day, monkeypatch):
    if size[0] > 500:
        pytest.skip("the helper is on a phone")

    def save(tap, *arguments, **named):
        raise through_django(of_sqlite(sqlite3.SQLITE_FULL, "database or disk is full"))

    page = opened(site, day)
    monkeypatch.setattr(Tap, "save", save)
    find(page, 7)
    page.get_by_role("button", name="Nara07 Mirabar: own gear").click()
    told = f"{faults.FULL} What waits is kept on this phone."
    expect(page.locator("#asks")).to_have_text(told, timeout=15_000)
    expect(page.locator("#waits")).to_have_text("1 entry waits to be sent.")
    assert accessible(page) == []
    monkeypatch.undo()
    expect(page.locator("#waits")).to_have_text("All is sent.", timeout=15_000)
    expect(page.locator("#asks")).to_be_hidden()
    assert SignOn.objects.count() == 1


def test_kit_goes_out_and_back_without_reception_and_a_day_called_off_leaves_nothing_on_the_phone(site, day):
    bow, guard = Kit.objects.create(number="B01", kind="bow"), Kit.objects.create(number="G04", kind="arm_guard")
    torn = Kit.objects.create(number="B02", kind="bow")
    services.set_kit_aside(kit=torn, on=TODAY, note="a cracked limb", by=shell_user())
    page = opened(site, day)
    page.context.set_offline(True)
    find(page, 7)
    page.get_by_role("button", name="Nara07 Mirabar: hire $7.00").click()
    page.get_by_role("button", name="Cash $7.00").click()
    page.locator("#kit-last").click()
    page.get_by_label("Number").fill("1")
    assert accessible(page) == []
    expect(page.locator("#kit-found b")).to_have_text(["B01"])
    page.get_by_role("button", name="Bow B01").click()
    expect(page.get_by_label("Number")).to_have_value("")
    page.get_by_label("Number").fill("2")
    expect(page.locator("#kit-why")).to_have_text("Bow B02 is unsafe since 12 Sep: a cracked limb.")
    page.get_by_label("Number").fill("b01")
    expect(page.locator("#kit-why")).to_have_text("Bow B01 is out with Nara07 Mirabar.")
    page.get_by_label("Number").fill("")
    page.get_by_role("button", name="Arm guard G04").click()
    page.get_by_role("button", name="Done").click()
    expect(page.locator("#out-count")).to_have_text("Kit out: 2")
    show(page, "Kit out")
    page.locator("#out").get_by_role("button", name="Arm guard G04 back").click()
    expect(page.locator("#out-count")).to_have_text("Kit out: 1")
    assert fits(page)
    page.context.set_offline(False)
    all_is_sent(page)
    expect(page.locator("#signed")).to_contain_text("hired gear, $7.00 cash · B01")
    assert [loan.kit for loan in kits.kit_out()] == [bow]
    assert guard.loans.get().back_at is not None
    services.call_off_day(range_day=day, reason="hail", on=TODAY, by=shell_user())
    expect(page.get_by_text("This day was called off: hail.")).to_be_visible(timeout=20_000)
    assert page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('range-day'))") == []
    assert "Nara" not in page.locator("#content-main").inner_text()
    assert sound()


def test_what_a_phone_keeps_is_sent_by_nobody_else_and_goes_after_a_week(site, size, day, people):
    page = opened(site, day)
    keep = """([key, owner, name, at]) => localStorage.setItem(`range-day-%d ${key}`, JSON.stringify(
        {key, owner, name, at, people: [], gear: "visitor", paid: "card", visitor_name: "Noor"}))"""
    now, long_ago = page.evaluate("[new Date().toISOString(), new Date(Date.now() - 8 * 864e5).toISOString()]")
    other = people["coordinator"]
    for owner, name, at in ((other.pk, "Ines", now), (other.pk, "Ines", long_ago), (people["helper"].pk, "Tomas", now)):
        page.evaluate(keep % day.pk, [str(uuid.uuid4()), owner, name, at])
    page.reload()
    expect(page.locator("#count")).to_have_text("On the range: 1")
    all_is_sent(page)
    expect(page.get_by_text("Entries of Ines wait on this phone")).to_be_visible()
    assert fits(page)
    of_days = "Object.entries(localStorage).filter(([key]) => key.startsWith('range-day'))"
    kept = page.evaluate(f"{of_days}.map(([, each]) => JSON.parse(each).owner)")
    assert kept == [other.pk]
    assert {each.recorded_by.username for each in Tap.objects.all()} == {people["helper"].username}
