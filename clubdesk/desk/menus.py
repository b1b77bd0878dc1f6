"""Where everything is: the places of the bar, the page of each, and the page of all."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.apps import apps
from django.contrib.admin import AdminSite
from django.db import models
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock, rooms
from clubdesk.rooms import Entry, ListOf, Menu, Room, Tab
from clubdesk.verbs import may

ON_A_PHONE = {Tab.FAMILIES: "users", Tab.COURSES: "calendar-days", Tab.RANGE: "target"}
"""The places at the foot of a phone, between home and all the others, each with its icon."""


@dataclass(frozen=True)
class Place:
    """A place of the bar: where it leads, and whether the page that is open belongs to it."""

    tab: Tab
    url: str
    is_here: bool

    @property
    def is_on_a_phone(self) -> bool:
        return self.tab in ON_A_PHONE

    @property
    def icon(self) -> str:
        return ON_A_PHONE[self.tab]


@dataclass(frozen=True)
class MenuLine:
    """A line of the menu as somebody sees it: its words, where it leads, and where one more is added."""

    title: str
    url: str
    add_url: str = ""


@dataclass(frozen=True)
class Shelf:
    """A room on a page: its name, what it is for, and its lines."""

    label: str
    name: str
    purpose: str
    lines: tuple[MenuLine, ...]


def rooms_of(tab: Tab) -> list[Room]:
    return [room for room in rooms.as_a_season_goes() if room.tab == tab]


def tab_of(app_label: str) -> Tab | None:
    """The place of a room, or of an app whose lists stand in the menu of one."""
    if app_label in rooms.ROOMS:
        return rooms.ROOMS[app_label].tab
    lists = ((room, each) for room in rooms.in_order() for each in room.menu if isinstance(each, ListOf))
    return next((room.tab for room, each in lists if each.app == app_label), None)


def places(site: AdminSite, request: HttpRequest) -> list[Place]:
    """The places of the bar that have something for whoever looks."""
    here = _tab_here(request)
    return [
        Place(tab, reverse("admin:app_list", args=[_address_of(tab)]), tab == here)
        for tab in Tab
        if any(line for room in rooms_of(tab) for line in lines_of(site, request, room, *Menu))
    ]


def _address_of(tab: Tab) -> str:
    """The app by whose label the place's page is addressed: that of its first list."""
    lists = ((room, each) for room in rooms_of(tab) for each in room.menu if isinstance(each, ListOf))
    return next(each.app or room.label for room, each in lists)


def _tab_here(request: HttpRequest) -> Tab | None:
    match = request.resolver_match
    name = (match.url_name or "") if match else ""
    if match and "app_label" in match.kwargs:
        return tab_of(match.kwargs["app_label"])
    page = next((room for room in rooms.in_order() for page in room.pages if page.name == name), None)
    return page.tab if page else tab_of(name.partition("_")[0])


def lines_of(site: AdminSite, request: HttpRequest, room: Room, *wanted: Menu) -> Iterator[MenuLine]:
    """The lines of a room's menu that stand in one of those places, as far as whoever looks may go there."""
    for each in (each for place in wanted for each in room.menu if each.place == place):
        line = _list_of(site, request, room, each) if isinstance(each, ListOf) else _entry(request, each)
        if line:
            yield line


def scenes(request: HttpRequest) -> list[MenuLine]:
    """The acts of every day, the likeliest of this day first."""
    every = (each for room in rooms.as_a_season_goes() for each in room.menu if each.place == Menu.SCENE)
    found = [(each, line) for each in every if isinstance(each, Entry) and (line := _entry(request, each))]
    today = clock.today()
    return [line for _, line in sorted(found, key=lambda pair: not pair[0].is_likely(today))]


def shelves(site: AdminSite, request: HttpRequest, of: Iterable[Room], *wanted: Menu) -> list[Shelf]:
    """The rooms with the lines of those places; a room without any is left out."""
    found = ((room, tuple(lines_of(site, request, room, *wanted))) for room in of)
    return [Shelf(room.label, name_of(room), room.purpose, lines) for room, lines in found if lines]


def name_of(room: Room) -> str:
    return str(apps.get_app_config(room.label).verbose_name)


def _list_of(site: AdminSite, request: HttpRequest, room: Room, each: ListOf) -> MenuLine | None:
    model = apps.get_model(each.app or room.label, each.model)
    screen = site.get_model_admin(model)
    if not screen.has_view_permission(request):
        return None
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    add_url = reverse(f"{name}_add") if screen.has_add_permission(request) else ""
    return MenuLine(_plural(model), reverse(f"{name}_changelist"), add_url)


def _entry(request: HttpRequest, entry: Entry) -> MenuLine | None:
    arguments = entry.arguments() if may(request.user, entry.permission) else None
    if arguments is None:
        return None
    return MenuLine(entry.title, reverse(entry.page, args=arguments))


def _plural(model: type[models.Model]) -> str:
    return str(model._meta.verbose_name_plural).capitalize()
