"""Every page that the site has, asked by axe-core on a phone, and at 320 pixels; where EVERY_PAGE is set, which takes
three times as long, on a laptop and in dark too.

The list of pages is made from the resolver and from what the book holds (`tests/whole/addresses.py`). The rules are
axe-core's own for WCAG 2.2 AA and its good practice; 320 pixels is what 1280 are at 400 % (WCAG 1.4.10, Reflow).
"""

import json
import os

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Error

from tests.whole.addresses import urls_of_everything

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True), pytest.mark.world("one_of_each")]
WIDTHS = (390, 1280) if "EVERY_PAGE" in os.environ else (390,)
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ALL = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"], "preload": False}
COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast"]}, "resultTypes": ["violations"], "preload": False}
"""Dark differs from light in its colours alone, so all else is asked once."""
SCHEMES = (("light", ALL), ("dark", COLOURS)) if "EVERY_PAGE" in os.environ else (("light", ALL),)
FITS = "document.documentElement.scrollWidth <= window.innerWidth + 1"


PARTS = 6
"""In so many parts the pages are asked, so that one can be run alone."""


@pytest.fixture
def opened(chromium, live_server, client, keeper):
    """A page of the administrator, who has opened a family's link besides, and the addresses that it can go to."""
    client.force_login(keeper)
    urls = urls_of_everything(client)
    context = chromium.new_context(
        locale="en-AU", base_url=live_server.url, service_workers="block", reduced_motion="reduce"
    )
    context.add_cookies(
        [{"name": name, "value": each.value, "url": live_server.url} for name, each in client.cookies.items()]
    )
    yield context.new_page(), urls
    context.close()


def comes(page, url):
    """Whether a page comes, which is no file, leads nowhere else and may run a script: how a letter looks may not."""
    try:
        answer = page.goto(url)
    except Error as error:
        assert "Download is starting" in str(error)
        return False
    shut_in = "sandbox" in answer.headers.get("content-security-policy", "")
    return answer.status == 200 and not shut_in and answer.headers["content-type"].startswith("text/html")


def asked(page, options):
    """What axe-core finds, a line a rule with the first place where it is so."""
    found = page.evaluate(f"axe.run(document, {json.dumps(options)})")
    return [f"{each['id']} ×{len(each['nodes'])}: {each['nodes'][0]['html'][:150]}" for each in found["violations"]]


def looked_at(page, url):
    """What is wrong with the page that has come, in each width and scheme."""
    page.evaluate(Axe().axe_script)
    for scheme, options in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            yield from (f"{url} {scheme} {width}: {each}" for each in asked(page, options))
    page.set_viewport_size({"width": 320, "height": 900})
    if not page.evaluate(FITS):
        yield f"{url}: sticks out sideways at 320 pixels"
    page.emulate_media(color_scheme="light")


@pytest.mark.parametrize("part", range(PARTS))
def test_axe_finds_nothing_on_any_page_of_the_site(opened, part):
    page, urls = opened
    wrong, seen = [], 0
    for url in urls[part::PARTS]:
        if comes(page, url):
            seen += 1
            wrong += looked_at(page, url)
    assert seen > 30
    assert wrong == [], "\n".join(wrong)
