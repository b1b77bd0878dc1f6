"""Pages over a slow line, with static files as a club's own site serves them: what is fetched, and how long it takes.

`pytest -s tests/browser/test_slow_line.py` prints the times, at 150 ms and 200 kB a second; none is asserted, since
a test's machine has other things to do.
"""

import threading
from dataclasses import dataclass, field

import pytest
from django.core.handlers.wsgi import WSGIHandler
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
from django.test import override_settings
from django.urls import reverse
from playwright.sync_api import expect

from clubdesk import statics
from clubdesk.roll.models import Household, Person
from clubdesk.settings import STORAGES
from tests.worlds.day_one import PASSWORD
from tests.worlds.season import Season

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.world("season")]
SLOW = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 200_000}
HEAVY = ("jquery", "select2", "xregexp", "actions.js", "urlify", "jsi18n")


class Quiet(WSGIRequestHandler):
    def log_message(self, *told):
        """Nothing is written of each request."""


@pytest.fixture(scope="module")
def gathered(tmp_path_factory):
    """How the site finds its static files, which lie there ready."""
    found = {
        "STORAGES": STORAGES,
        "STATIC_ROOT": tmp_path_factory.mktemp("static"),
        "WHITENOISE_AUTOREFRESH": False,
        "WHITENOISE_USE_FINDERS": False,
    }
    with override_settings(**found):
        statics.gather()
    return found


@pytest.fixture
def served(season, people, gathered):
    """The address of the site, its static files gathered."""
    with override_settings(**gathered):
        server = ThreadedWSGIServer(("127.0.0.1", 0), Quiet)
        server.set_app(WSGIHandler())
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        server.server_close()
        thread.join()


@dataclass
class Visit:
    """What one look at a page took: milliseconds until it stood, bytes, and what was asked of the site."""

    ms: float = 0
    bytes: int = 0
    asked: list[dict] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        return [each["url"].rpartition("/static/")[2] for each in self.asked]


@pytest.fixture
def coordinator_page(chromium, served, request):
    """Opens a page afresh, as somebody who was never there, and again; returns both visits.

    The line is slow where somebody reads the times.
    """
    times_are_read = request.config.getoption("capture") == "no"
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, locale="en-AU", base_url=served)
    page = context.new_page()
    page.goto("/login/")
    page.get_by_label("Username").fill("coordinator")
    page.get_by_label("Password").fill(PASSWORD)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in", exact=True).click()
    signed_in = context.storage_state()
    context.close()

    def visits(url):
        fresh = chromium.new_context(
            viewport={"width": 1280, "height": 900}, locale="en-AU", base_url=served, storage_state=signed_in
        )
        page, wrong = fresh.new_page(), []
        page.on("pageerror", lambda error: wrong.append(str(error)))
        line = fresh.new_cdp_session(page)
        line.send("Network.enable")
        if times_are_read:
            line.send("Network.emulateNetworkConditions", SLOW)
        found = [visit(page, line, url) for _ in range(2)]
        fresh.close()
        assert wrong == []
        return found

    return visits


def visit(page, line, url):
    seen = Visit()

    def answered(event):
        told = event["response"]
        if told["url"].startswith("http") and not told.get("fromDiskCache"):
            seen.asked.append({"url": told["url"], **{name.lower(): said for name, said in told["headers"].items()}})

    def ended(event):
        seen.bytes += event["encodedDataLength"]

    line.on("Network.responseReceived", answered)
    line.on("Network.loadingFinished", ended)
    assert page.goto(url, wait_until="load").status == 200
    seen.ms = page.evaluate("performance.getEntriesByType('navigation')[0].loadEventStart")
    page.wait_for_load_state("networkidle")
    page.goto("about:blank")
    line.remove_listener("Network.responseReceived", answered)
    line.remove_listener("Network.loadingFinished", ended)
    return seen


def heavy_of(visits):
    """What of Django's own scripts the first visit fetched."""
    return [url for url in visits[0].names if any(heavy in url for heavy in HEAVY)]


def test_pages_are_small_and_what_does_not_change_is_fetched_once(coordinator_page):
    home = Household.objects.order_by("pk").first()
    person = Person.objects.order_by("pk").first()
    pages = {
        "home": "/",
        "families": reverse("admin:roll_household_changelist"),
        "charges": reverse("admin:fees_charge_changelist"),
        "a family": reverse("admin:roll_household_change", args=[home.pk]),
        "a person": reverse("admin:roll_person_change", args=[person.pk]),
        "a receipt": reverse("admin:roll_household_receipt", args=[home.pk]),
    }
    seen = {name: coordinator_page(url) for name, url in pages.items()}
    print(f"\n{'':12}{'first':>8}{'files':>7}{'kB':>7}{'again':>9}{'files':>7}{'kB':>7}")
    for name, (first, again) in seen.items():
        told = [f"{each.ms:8.0f}{len(each.asked):7}{each.bytes / 1000:7.1f}" for each in (first, again)]
        print(f"{name:12}{told[0]} {told[1]}")
    for name, (first, again) in seen.items():
        static = [each for each in first.asked if "/static/" in each["url"]]
        assert len(static) > 5, name
        assert {each["cache-control"] for each in static} == {"max-age=315360000, public, immutable"}, name
        large = [each for each in first.asked if int(each["content-length"]) > 1500]
        assert {each.get("content-encoding") for each in large} == {"gzip"}, name
        assert [each["url"].rpartition("/static/")[1] for each in again.asked] == [""], name
    for name in ("home", "charges", "a receipt"):
        assert heavy_of(seen[name]) == [], name
    # Families are written to together, which stands on a script of two kB and its words.
    assert [each for each in HEAVY if any(each in url for url in heavy_of(seen["families"]))] == ["jsi18n"]


def test_the_modules_of_the_sheet_are_fetched_once_by_their_contents(coordinator_page):
    url = reverse("admin:range_sheet", args=[Season.found().day.pk])
    first, again = coordinator_page(url)
    modules = [each for each in first.asked if "/desk/sheet/" in each["url"]]
    assert len(modules) == 10
    assert {each["cache-control"] for each in modules} == {"max-age=315360000, public, immutable"}
    assert [each["url"] for each in again.asked if "/static/" in each["url"]] == []
    print(f"\nthe sheet: {first.ms:.0f} ms, {first.bytes / 1000:.1f} kB; again {again.ms:.0f} ms")


def test_what_a_form_needs_still_works(chromium, served):
    """The pop-up that adds a row, the finder in a field, one more row, and a code made of a name."""
    context = chromium.new_context(locale="en-AU", base_url=served)
    page = context.new_page()
    wrong = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto("/login/")
    page.get_by_label("Username").fill("keeper")
    page.get_by_label("Password").fill(PASSWORD)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in", exact=True).click()
    page.goto("/roll/person/add/")
    page.locator(".select2-selection").click()
    page.locator(".select2-search__field").fill("Famil")
    page.locator(".select2-results__option").first.click()
    with page.expect_popup() as opened:
        page.locator("#add_id_household").click()
    opened.value.locator("#id_name").fill("Popped family")
    opened.value.locator("#id_guardians-0-name").fill("Ida")
    opened.value.get_by_role("button", name="Save").click()
    expect(page.locator("#id_household option:checked")).to_contain_text("Popped")
    page.goto("/roll/household/add/")
    page.get_by_text("Add another Guardian").click()
    assert page.locator("#id_guardians-1-name").is_visible()
    page.goto("/fees/feeitem/add/")
    page.get_by_label("Name").press_sequentially("Long Bow")
    assert page.get_by_label("Code").input_value() == "long-bow"
    page.goto("/auth/group/1/change/")
    page.locator(".selector-chosen select").wait_for()
    page.goto("/auth/group/")
    page.locator("#action-toggle").check()
    assert page.locator(".action-counter").inner_text()[0] != "0"
    context.close()
    assert wrong == []
