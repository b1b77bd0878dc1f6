"""What a page brings of our own: its styles and scripts together, as they lie on the disk, with what those import."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

from tests.whole.addresses import urls_of_a_family, urls_of_everything

pytestmark = [pytest.mark.either, pytest.mark.django_db, pytest.mark.world("one_of_each")]
ANY_PAGE, OF_A_FAMILY = 100_000, 30_000
"""Bytes at most; a family's page is opened on a phone by whoever has little reception."""
BROUGHT = re.compile(r'(?:href|src)="/static/(desk/[^"?]+\.(?:css|js))"')
IMPORTS = re.compile(r'(?:from|import)\s+"(\./[^"]+\.js)"')


def brought_by(page):
    """Our own files that a page brings, each once."""
    found = {Path(finders.find(name)) for name in BROUGHT.findall(page)}
    unread = [path for path in found if path.suffix == ".js"]
    while unread:
        path = unread.pop()
        imported = {(path.parent / each).resolve() for each in IMPORTS.findall(path.read_text())} - found
        found |= imported
        unread += imported
    return found


def weights(client, urls):
    """Bytes by address, of each that answers with a page."""
    found = {}
    for url in urls:
        answer = client.get(url)
        if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
            found[url] = sum(path.stat().st_size for path in brought_by(answer.content.decode()))
    return found


@pytest.mark.slow
def test_no_page_brings_more_of_our_own_than_a_hundred_kilobytes(client, keeper):
    client.force_login(keeper)
    found = weights(client, urls_of_everything(client))
    assert max(found.values()) > OF_A_FAMILY
    assert {url: size for url, size in found.items() if size > ANY_PAGE} == {}


def test_a_familys_page_brings_no_more_than_thirty(client):
    found = weights(client, [*urls_of_a_family(client), "/book/"])
    assert len(found) > 4
    assert min(found.values()) > 0
    assert {url: size for url, size in found.items() if size > OF_A_FAMILY} == {}
