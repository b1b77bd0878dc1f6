"""The page that shows the look: for administrators alone, made of what the site is made of, with no colour left out."""

from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.urls import reverse

from clubdesk.desk.style import USES, colours

pytestmark = pytest.mark.django_db


def css(name):
    return Path(finders.find(f"desk/{name}.css")).read_text()


def test_it_is_for_administrators_alone(client, keeper, treasurer):
    for who, status in ((treasurer, 403), (keeper, 200)):
        client.force_login(who)
        assert client.get(reverse("admin:style")).status_code == status


def test_it_shows_the_components_as_the_templates_make_them(client, keeper):
    client.force_login(keeper)
    page = client.get(reverse("admin:style"))
    used = {template.name for template in page.templates}
    assert {"screens/section.html", "screens/chart.html", "screens/faults.html"} <= used
    text = page.content.decode()
    for part in ('class="chip now"', "errornote faults", 'class="successnote"', 'dl class="facts"', "$126.00"):
        assert part in text, part


def test_each_colour_of_the_palette_is_shown_and_says_what_it_is_for():
    named = {name for name, _, _, _ in colours()}
    assert named == {*USES}
    assert [name for name in named if f".colour.of-{name} {{" not in css("look")] == []
