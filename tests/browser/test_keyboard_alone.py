"""Each of the four scenes by the keyboard alone: what has the focus is seen, and nothing but keys is used.

Source: WCAG 2.2, success criteria 2.1.1 Keyboard, 2.1.2 No Keyboard Trap and 2.4.7 Focus Visible.
"""

import re

import pytest
from openpyxl import load_workbook
from playwright.sync_api import expect

from clubdesk.courses.models import Place
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import EntryClaim, PaidInto
from clubdesk.evidence import Evidence
from clubdesk.membership.services import take_out_membership
from clubdesk.money import as_amount
from clubdesk.rangeday.models import SignOn
from clubdesk.verbs import shell_user
from tests import factories
from tests.worlds.day_one import TODAY, YEAR_START

MOST_KEYS = 90
"""Tab is pressed no more often than this on the way to anything."""
WHAT_HAS_THE_FOCUS = """() => {
  const on = document.activeElement, field = on.closest(".field");
  const looks = getComputedStyle(on);
  const label = on.labels?.[0]?.innerText || on.ariaLabel || field?.querySelector("label, legend")?.innerText;
  const own = on.matches("a, button, summary") ? on.innerText || on.value : "";
  const ring = looks.outlineStyle !== "none" || looks.boxShadow !== "none";
  return { name: (own || label || on.innerText || "").trim(), ring };
}"""


@pytest.fixture
def size():
    return 1280, 900


class Keys:
    """A page that nobody touches but by keys."""

    def __init__(self, page):
        self.page, self.pressed = page, 0

    def press(self, *keys):
        for key in keys:
            self.page.keyboard.press(key)
            self.pressed += 1

    def type(self, text):
        self.page.keyboard.type(text)
        self.pressed += len(text)

    def to(self, name):
        """Tab on until something of that name has the focus, which is to be seen there."""
        for _ in range(MOST_KEYS):
            self.press("Tab")
            focus = self.page.evaluate(WHAT_HAS_THE_FOCUS)
            if re.match(name, focus["name"]):
                assert focus["ring"], f"nobody sees that {focus['name']} has the focus"
                return self
        raise AssertionError(f"{name} is not reached by Tab")

    def follow(self, name):
        """To a link or a button, and on to the page that it leads to."""
        self.to(name)
        with self.page.expect_navigation():
            self.press("Enter")

    def pick(self, label, letters, name):
        self.to(label).press("Enter")
        self.type(letters)
        expect(self.page.locator(".select2-results__option--highlighted", has_text=name)).to_be_visible()
        self.press("Enter")


@pytest.fixture
def keys(site, record_property):
    hands = []

    def of(who, scene):
        hand = Keys(site(who))
        hands.append((hand, scene))
        return hand

    yield of
    for hand, scene in hands:
        assert hand.page.taps == 0
        record_property("keys", f"{scene} by keyboard: {hand.pressed} keys, {hand.page.screens - 1} screens")


@pytest.fixture
def member(people):
    child = factories.PersonFactory(given_name="Ada", household=factories.HouseholdFactory(name="Mirabar"))
    take_out_membership(
        person=child, plan=factories.plan(), starts_on=YEAR_START, on=YEAR_START, by=people["coordinator"]
    )
    return child


def test_a_course_place_is_booked(keys, people):
    cohort = factories.cohort()
    factories.PersonFactory(given_name="Bela", household=factories.HouseholdFactory(name="Bela family"))
    hand = keys("coordinator", "a course place")
    hand.follow("Book a course place")
    hand.pick("On the roll already", "Bel", "Bela")
    hand.to(f"Beginner course, {cohort.name}").press("Space")
    hand.follow("See what becomes of it")
    expect(hand.page.locator(".facts")).to_contain_text("has a place")
    hand.follow("Book the places")
    expect(hand.page.locator(".messagelist")).to_contain_text("has a place")
    assert Place.objects.count() == 1


def test_hire_is_recorded_on_the_day(keys, people, member):
    factories.hire()
    day = factories.range_day(TODAY)
    hand = keys("helper", "a sign-on")
    hand.page.goto(f"/rangeday/rangeday/{day.pk}/sign-on/")
    hand.pick("Who", "ada", "Ada Mirabar")
    hand.to("Cash").press("Space")
    hand.follow("Sign on")
    expect(hand.page.locator(".messagelist")).to_contain_text("Ada Mirabar is signed on: $7.00, cash.")
    assert SignOn.objects.count() == 1


def test_a_refund_is_approved_in_the_queue(keys, people, member):
    entryfund.cash_in(
        containers=1000, amount=as_amount(100), paid_into=PaidInto.BANK, on=TODAY, by=people["coordinator"]
    )
    entryfund.record_claim(
        person=member, event=factories.event(), amount=as_amount(60), on=TODAY, by=shell_user(),
        evidence=Evidence(factories.photo("Ada", "JPEG"), "image/jpeg"),
    )  # fmt: skip
    hand = keys("approver", "a refund approved")
    hand.follow("Decide entry-fee refunds")
    hand.follow("Approve this refund")
    expect(hand.page.locator(".messagelist")).to_contain_text("Approved: $60.00 to Mirabar.")
    assert EntryClaim.objects.get().state == "approved"


def test_the_year_is_exported(keys, people, tmp_path):
    hand = keys("treasurer", "the year exported")
    hand.follow("Export the year")
    hand.to("Treasurer’s workbook")
    with hand.page.expect_download() as download:
        hand.press("Enter")
    download.value.save_as(tmp_path / "year.xlsx")
    assert "Proof" in load_workbook(tmp_path / "year.xlsx").sheetnames
