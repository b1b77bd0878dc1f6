"""DEVELOPERS.md is true: every path that it names exists, and every room has its line in the map."""

import re
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(__file__).parent.parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text()
PATH = re.compile(r"^[\w.<>*-]+(/[\w.<>*-]+)+/?$|^\w+\.(py|js|css|html|toml|md|csv)$")
EVERY_ROOM = ("<room>", "ROOM")
"""In a path: stands for every room that has such a file."""


def named_paths():
    """What stands in backquotes and reads like a path of the project."""
    return sorted({word for word in re.findall(r"`([^`\s]+)`", TEXT) if PATH.match(word)})


def stands_somewhere(path):
    """From the top, from the package, from a room or from the tests; a bare name anywhere."""
    path = path.rstrip("/")
    if "/" not in path:
        return any(ROOT.glob(path)) or any((ROOT / "clubdesk").rglob(path)) or any((ROOT / "tests").rglob(path))
    places = (ROOT, ROOT / "clubdesk", *(ROOT / "clubdesk" / room for room in settings.ROOMS), ROOT / "tests")
    return any(any(place.glob(path)) for place in places)


def test_it_names_paths():
    assert len(named_paths()) > 30


@pytest.mark.parametrize("path", named_paths())
def test_a_path_that_it_names_exists(path):
    assert stands_somewhere(path), f"DEVELOPERS.md names {path}, which is not there"


@pytest.mark.parametrize("room", settings.ROOMS)
def test_every_room_stands_in_the_map(room):
    assert re.search(rf"^\|[^|]*\|[^|]*`{room}`", TEXT, re.MULTILINE), f"the map does not show {room}"
