"""Every page is whole: what is begun last ends first, or a browser lays it out as nobody meant it."""

from html.parser import HTMLParser

import pytest

from tests import factories
from tests.whole.addresses import urls_of_everything

EMPTY = {"meta", "link", "input", "img", "br", "hr", "use", "path", "rect", "line", "circle", "source", "wbr"}


class Nesting(HTMLParser):
    """Which end tags do not end what was begun last."""

    def __init__(self, page):
        super().__init__()
        self.open, self.wrong = [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        if tag in EMPTY:
            return
        if self.open and self.open[-1] == tag:
            self.open.pop()
        else:
            self.wrong.append((tag, self.open[-3:]))


BLOCKS = {"details", "div", "fieldset", "form", "li", "main", "ol", "section", "table", "ul"}


@pytest.mark.either
@pytest.mark.world("season")
@pytest.mark.django_db
def test_every_page_is_whole(client, keeper):
    client.force_login(keeper)
    answers = {url: client.get(url) for url in urls_of_everything(client)}
    pages = {url: each.content.decode() for url, each in answers.items() if "html" in each.get("Content-Type", "")}
    assert len(pages) > 150
    torn = {url: [each for each in Nesting(page).wrong if each[0] in BLOCKS] for url, page in pages.items()}
    assert {url: wrong for url, wrong in torn.items() if wrong} == {}


@pytest.mark.django_db
def test_the_form_of_a_family_stands_closed_below_what_is_read_of_it(client, coordinator):
    child = factories.PersonFactory()
    client.force_login(coordinator)
    page = client.get(f"/roll/household/{child.household_id}/change/").content.decode()
    assert page.index('<details class="edits">') < page.index('id="id_name"') < page.index('name="_save"')
