"""The one box on every page: what the rooms' finders find for whoever looks, in groups."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice
from urllib.parse import urlencode

from django.contrib.admin import AdminSite
from django.http import HttpRequest
from django.template.response import TemplateResponse
from django.urls import reverse

from clubdesk import rooms
from clubdesk.finding import Sought, read
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.pages import site_page
from clubdesk.verbs import may

MOST_IN_A_GROUP = 8


@dataclass(frozen=True)
class Row:
    hit: Hit
    url: str

    @property
    def facts(self) -> list[str]:
        """The parts of its line, none of which is broken where it fits."""
        return re.split(r"(?<=[,·]) ", self.hit.line)


@dataclass(frozen=True)
class Group:
    """What one finder found; `rest_url` leads to the list where there is more."""

    name: str
    rows: tuple[Row, ...]
    rest_url: str = ""


def finders_of(user: object) -> list[Finder]:
    """What somebody may look for, in the order of a season; of one group only the first."""
    mine: dict[str, Finder] = {}
    for room in rooms.as_a_season_goes():
        for finder in room.finds:
            if finder.group not in mine and may(user, finder.permission):
                mine[finder.group] = finder
    return list(mine.values())


Asked = Sequence[tuple[Finder, Sought]]
"""Who looks for what."""


def look(finders: Sequence[Finder], sought: Sought) -> list[Group]:
    """What is found, in groups; where a word says of what a number is, that alone, as long as it is there."""
    return _found(as_called(finders, sought)) or _found([(finder, sought) for finder in finders])


def as_called(finders: Iterable[Finder], sought: Sought) -> Asked:
    """The finders that are called by the longest word with which it begins, each for what follows."""
    called = [(finder, rest) for finder in finders if (rest := sought.after(finder.called))]
    longest = max((len(rest.called) for _, rest in called), default=0)
    return [each for each in called if len(each[1].called) == longest]


def _found(asked: Asked) -> list[Group]:
    hits = ((finder, sought, _hits(finder, sought)) for finder, sought in asked)
    return [_group(finder, sought, found) for finder, sought, found in hits if found]


def _hits(finder: Finder, sought: Sought) -> list[Hit]:
    """One more than is shown, if there is one."""
    return list(islice(dict.fromkeys(finder.find(sought, MOST_IN_A_GROUP + 1)), MOST_IN_A_GROUP + 1))


def _group(finder: Finder, sought: Sought, hits: Sequence[Hit]) -> Group:
    rows = tuple(Row(hit, reverse(hit.page, args=hit.arguments)) for hit in hits[:MOST_IN_A_GROUP])
    goes_on = len(hits) > MOST_IN_A_GROUP and finder.page
    return Group(finder.group, rows, f"{reverse(finder.page)}?{urlencode({'q': sought.text})}" if goes_on else "")


def find(request: HttpRequest, site: AdminSite) -> TemplateResponse:
    """The page of what was found. It is never cached, and its address holds no more than what was typed."""
    sought, mine = read(request.GET.get("q", "")), finders_of(request.user)
    groups = look(mine, sought) if sought.text else []
    title = f"{'Found' if groups else 'Nothing found'} for “{sought.text}”" if sought.text else "Find"
    return site_page(request, site, "desk/find.html", title, sought=sought, groups=groups, finders=mine)
