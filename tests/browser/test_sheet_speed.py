"""How long a helper needs for a child, typing and tapping as people do; aimed at are 4 s a child and 6 s a family."""

import time
from itertools import product
from statistics import median

import pytest

from clubdesk.membership.models import Plan
from clubdesk.rangeday.models import SignOn
from tests import factories
from tests.browser.at_the_range import all_is_sent, joined, opened
from tests.browser.conftest import SIZES
from tests.chance import often

A_KEY, A_TAP = 250, 600
"""Milliseconds: a letter on a phone's keyboard, and finding and tapping a button (common practice, no source)."""
MEMBERS = ("len", "mira", "tos")
OTHERS = ("dor", "fin", "gal", "hos", "jun", "kel", "lor", "mun", "nep", "pir", "rus", "sev", "tor", "vin", "zel")
STARTS = ("Ba", "Ce", "Di", "Fo", "Gu", "Ha", "Je", "Ki", "Lo", "Mu")
NAMES = [start + end for start, end in product(STARTS, MEMBERS)]
IN_SIGHT = 3
"""A row is seen at once among so many."""


@pytest.fixture
def families(people):
    """Thirty members among 150 others, each third one of a family of three."""
    factories.hire()
    factories.plan()
    plan, found = Plan.objects.get(), []
    for start, end in product(STARTS, OTHERS):
        joined(plan, start + end)
    for number, name in enumerate(NAMES):
        if number % 3 == 0:
            found.append([])
        home = factories.HouseholdFactory(name=f"{name} family")
        names = [name, f"{name}na", f"{name}ro"] if number % 3 == 2 else [name]
        found[-1].append([joined(plan, each, household=home) for each in names])
    return [family for three in found for family in three]


def typed(page, name, wanted):
    """Letters of a name, one by one, until the wanted button is in sight."""
    for letter in name.lower():
        page.keyboard.type(letter)
        page.wait_for_timeout(A_KEY)
        shown = page.locator("#found .row").get_by_role("button", name=wanted)
        rows = page.locator("#found .row")
        if shown.count() and rows.count() <= IN_SIGHT:
            return
        if shown.count() and any(rows.nth(n).get_by_role("button", name=wanted).count() for n in range(IN_SIGHT)):
            return


def tap(page, name):
    page.wait_for_timeout(A_TAP)
    page.get_by_role("button", name=name, exact=True).first.click()


def signed_on(page, family, *taps):
    """Seconds from the first letter until it says that they are on."""
    began = time.perf_counter()
    typed(page, family[0].given_name, taps[0])
    for each in taps:
        tap(page, each)
    page.locator("#last", has_text=family[0].given_name).wait_for()
    return time.perf_counter() - began


@pytest.mark.slow
@pytest.mark.parametrize("size", [SIZES["phone"]], ids=["phone"])
def test_how_long_a_child_and_a_family_take(site, families, size, record_property):
    page = opened(site, factories.range_day())
    page.get_by_label("Who is here?").click()
    own, hired, together = [], [], []
    alone = [family for family in families if len(family) == 1]
    for number, family in enumerate(alone[: often(4)]):
        name = str(family[0])
        if number % 2:
            own.append(signed_on(page, family, f"{name}: own gear"))
        else:
            hired.append(signed_on(page, family, f"{name}: hire $7.00", "Cash $7.00"))
    for family in [family for family in families if len(family) == 3][: often(2)]:
        together.append(signed_on(page, family, f"{family[0]} and siblings", "Cash $21.00"))
    all_is_sent(page)
    assert SignOn.objects.count() == len(own) + len(hired) + 3 * len(together)
    told = {"a child with own gear": own, "a child who hires": hired, "three siblings": together}
    words = ", ".join(f"{what} {median(seconds):.1f} s" for what, seconds in told.items())
    record_property("measured", f"from the first letter to signed on, in the middle: {words}")
