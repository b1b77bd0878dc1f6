"""What stands on the home page and on the page of each place of the bar: what waits, and how things stand."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import cast

from django.contrib.admin import AdminSite
from django.contrib.auth.models import User
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.template.response import TemplateResponse
from django.urls import reverse

from clubdesk import clock, money, rooms
from clubdesk.clock import day_text
from clubdesk.desk import menus, trying
from clubdesk.desk.beginning import beginning
from clubdesk.ledger.models import Book
from clubdesk.moment import asking_once
from clubdesk.money import nil
from clubdesk.rooms import Card, Line, Menu, Room, Rows, Tab, Waiting, Waits
from clubdesk.screens.pages import site_page
from clubdesk.verbs import may
from clubdesk.waiting import counted

FEWEST_BESIDE, TASKS_A_CARD = 2, 4
"""So many cards stand beside what waits, one more for so many things that wait; the others below."""


@dataclass(frozen=True)
class Chip:
    """Since when or by when, in two words; `kind` is how pressing: “now”, “soon” or blank."""

    words: str
    kind: str = ""


@dataclass(frozen=True)
class Task:
    """So many of something wait there."""

    url: str
    count: int
    words: str
    line: str
    chip: Chip | None


@dataclass(frozen=True)
class LineShown:
    line: Line
    url: str

    @property
    def seats(self) -> list[str]:
        """A word for each seat: taken, promised or free."""
        taken, promised, every = self.line.taken or (0, 0, 0)
        return ["taken"] * taken + ["promised"] * promised + ["free"] * (every - taken - promised)


@dataclass(frozen=True)
class CardShown:
    card: Card
    slug: str
    lines: tuple[LineShown, ...]
    more_url: str

    @property
    def says(self) -> bool:
        """Whether there is anything of it yet."""
        nothing = ("0", "never", money.shown(nil()))
        return any(each.line.figure not in nothing or each.line.taken for each in self.lines)


def home_of(site: AdminSite, request: HttpRequest) -> dict[str, object]:
    """What the home page shows whoever looks."""
    of, today = rooms.as_a_season_goes(), clock.today()
    yours, others = tasks(request, of)
    every = sorted(cards(request, of, is_home=True), key=lambda each: not _leads(request, each.card))
    shown, quiet = [each for each in every if each.says], [each for each in every if not each.says]
    beside = _beside(len(yours) + len(others))
    said = [room.today(cast(User, request.user), today) for room in of]
    return {
        "title": f"{today:%A} {day_text(today)}",
        "said": [each for each in said if each],
        "parts": [each.template for room in of for each in room.home_parts if may(request.user, each.permission)],
        "beginning": beginning(request),
        **trying.walk(request),
        "scenes": menus.scenes(request),
        "yours": yours,
        "others": others,
        "cards": shown[:beside],
        "more_cards": shown[beside:],
        "quiet": quiet,
    }


def _leads(request: HttpRequest, card: Card) -> bool:
    return bool(card.leads) and may(request.user, card.leads)


@asking_once()
def tab_page(request: HttpRequest, site: AdminSite, tab: Tab) -> TemplateResponse:
    """The page of a place of the bar: what waits there, its things of every day, and what is set up once."""
    of = menus.rooms_of(tab)
    yours, others = tasks(request, of)
    shown, beside = list(cards(request, of)), _beside(len(yours) + len(others))
    return site_page(
        request, site, "desk/tab.html", tab.value,
        scenes=[line for room in of for line in menus.lines_of(site, request, room, Menu.SCENE)],
        yours=yours, others=others, cards=shown[:beside], more_cards=shown[beside:],
        shelves=menus.shelves(site, request, of, Menu.DAILY), set_up=menus.shelves(site, request, of, Menu.SETTING),
    )  # fmt: skip


def _beside(tasks: int) -> int:
    return max(FEWEST_BESIDE, tasks // TASKS_A_CARD)


def everything(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """Every list and page that whoever looks may open."""
    of = rooms.as_a_season_goes()
    return site_page(
        request,
        site,
        "desk/everything.html",
        "Everything",
        is_everything=True,
        shelves=menus.shelves(site, request, of, *Menu),
    )


def tasks(request: HttpRequest, of: Iterable[Room]) -> tuple[list[Task], list[Task]]:
    """What waits for whoever looks, the most pressing first; and what waits on others."""
    today = clock.today()
    yours: list[tuple[Waiting, Task]] = []
    others: list[tuple[Waiting, Task]] = []
    asked = [(each, each.now(today)) for room in of for each in room.waits if may(request.user, each.permission)]
    known = iter(counted([now for _, now in asked if isinstance(now, Rows)], Book.objects.all()))
    for each, now in asked:
        found = next(known) if isinstance(now, Rows) else now
        if found.count:
            is_theirs = each.on_others or (each.does and not may(request.user, each.does))
            (others if is_theirs else yours).append((found, _task(each, found, today, is_theirs=bool(is_theirs))))
    return _pressing_first(yours), _pressing_first(others)


def _task(each: Waits, found: Waiting, today: date, *, is_theirs: bool) -> Task:
    words = each.one if found.count == 1 else each.many
    url = reverse(each.page) + (f"?{each.query}" if each.query else "")
    return Task(url, found.count, words[0].upper() + words[1:], found.line, chip_of(found, today, is_theirs=is_theirs))


def _pressing_first(found: list[tuple[Waiting, Task]]) -> list[Task]:
    return [task for _, task in sorted(found, key=lambda pair: (pair[0].by or date.max, pair[0].since or date.max))]


def chip_of(found: Waiting, today: date, *, is_theirs: bool = False) -> Chip | None:
    """By when or since when; red is only for what is overdue or for today."""
    if found.by:
        if found.by > today:
            return Chip(f"by {day_text(found.by, year=found.by.year != today.year)}", "" if is_theirs else "soon")
        return Chip("today" if found.by == today else f"since {_days(today - found.by)}", "now")
    if found.since is None:
        return None
    return Chip("since today" if found.since >= today else f"for {_days(today - found.since)}")


def _days(span: timedelta) -> str:
    return "1 day" if span.days == 1 else f"{span.days} days"


def cards(request: HttpRequest, of: Iterable[Room], *, is_home: bool = False) -> Iterator[CardShown]:
    """How things stand, for whoever may look; on home for whose week it is."""
    today = clock.today()
    for room in of:
        for number, card in enumerate(room.cards):
            if not may(request.user, (is_home and card.week) or card.permission):
                continue
            lines = tuple(LineShown(each, _url(each)) for each in card.lines(today))
            if lines or card.empty:
                yield CardShown(card, f"{room.label}-{number}", lines, reverse(card.page) if card.page else "")


def _url(line: Line) -> str:
    return reverse(line.page, args=line.arguments) if line.page else ""
