"""Real Chromium against the live site, at phone and laptop width."""

import os
import shutil

import pytest
from django.test import Client
from playwright.sync_api import expect, sync_playwright

from clubdesk.rangeday.models import RangeDay

# Playwright's own event loop runs in this thread; the tests touch the database beside it, never within it.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
# A busy machine is slow: what does not come at all is seen to be missing all the same.
expect.set_options(timeout=20_000)
POLICY = "Content Security Policy"
"""What Chromium says in its console where a page wants what its own headers forbid."""
SIZES = {"phone": (390, 844), "laptop": (1280, 900)}
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def against_the_policy(told):
    """Whether a page of ours wants what its headers forbid; what Playwright itself puts into a page has no address."""
    return POLICY in told.text and bool(told.location["url"])


@pytest.fixture(scope="session")
def chromium():
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing; the gate installs it")
        pytest.skip("Chromium is not on this machine")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture(params=SIZES)
def size(request):
    return SIZES[request.param]


@pytest.fixture
def people(transactional_db, coordinator, range_helper, approver, treasurer):
    """Somebody in each role."""
    return {"coordinator": coordinator, "helper": range_helper, "approver": approver, "treasurer": treasurer}


@pytest.fixture
def full_range(transactional_db):
    """The range day of the world of this name."""
    return RangeDay.objects.get()


@pytest.fixture
def day(people, full_range):
    """A day with 65 members on the roll, each with a name of its own."""
    return full_range


def pytest_terminal_summary(terminalreporter):
    """What a test measured and does not assert, since a test's machine has other things to do."""
    told = [value for each in terminalreporter.stats.get("passed", []) for name, value in each.user_properties]
    for line in told:
        terminalreporter.write_line(f"measured: {line}")


def session_of(user):
    """Somebody signed in, without the page to sign in, which has tests of its own."""
    client = Client()
    client.force_login(user)
    return client.cookies["sessionid"].value


def counted(page):
    """Have the page count what a person does: `taps` of the finger or the mouse, and the `screens` that came."""
    page.taps = page.screens = 0

    def tapped():
        page.taps += 1

    def came(frame):
        page.screens += frame == page.main_frame

    page.expose_function("tapped", tapped)
    page.add_init_script("addEventListener('pointerdown', (each) => each.isTrusted && tapped(), true)")
    page.on("framenavigated", came)


@pytest.fixture
def took(record_property):
    """Tells at the end of the run what a scene took: taps, and screens after home."""

    def tell(scene, *pages):
        taps, screens = (sum(getattr(page, name) for page in pages) for name in ("taps", "screens"))
        record_property("scene", f"{scene}: {taps} taps, {screens - len(pages)} screens")

    return tell


@pytest.fixture
def site(chromium, live_server, size, people):
    """Opens a signed-in page for a person: `site("treasurer")`."""
    contexts = []

    def sign_in(name):
        width, height = size
        context = chromium.new_context(
            viewport={"width": width, "height": height},
            locale="en-AU",
            base_url=live_server.url,
            has_touch=width < 500,
            service_workers="block",
        )
        contexts.append(context)
        page = context.new_page()
        counted(page)
        page.problems = []
        page.on("pageerror", lambda error: page.problems.append(str(error)))
        page.on("console", lambda told: page.problems.append(told.text) if against_the_policy(told) else None)
        context.add_cookies([{"name": "sessionid", "value": session_of(people[name]), "url": live_server.url}])
        page.goto("/")
        return page

    yield sign_in
    problems = [problem for context in contexts for page in context.pages for problem in getattr(page, "problems", ())]
    for context in contexts:
        context.close()
    assert problems == []
