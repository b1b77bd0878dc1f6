"""The admin site itself: the rooms' menus in the order of a season, and a home page of what waits."""

from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import version

from django.apps import apps
from django.contrib.admin import AdminSite
from django.db import models
from django.http import HttpRequest, HttpResponse
from django.template.response import TemplateResponse
from django.urls import URLPattern, URLResolver, reverse
from django.utils.cache import patch_cache_control

from clubdesk import clock, faults, rooms, upkeep
from clubdesk.rooms import Entry, ListOf, Menu, Room, Waits
from clubdesk.screens.pages import addresses
from clubdesk.verbs import may

VERSION = version("fletchbook")


@dataclass(frozen=True)
class MenuLine:
    """A line of the menu as somebody sees it: its words, where it leads, and where one more is added."""

    title: str
    url: str
    add_url: str = ""
    line: str = ""


@dataclass(frozen=True)
class Shelf:
    """A room of the home page: its name, what it is for, and its lines."""

    label: str
    name: str
    purpose: str
    lines: tuple[MenuLine, ...]


@dataclass(frozen=True)
class Waiting:
    """So many of something wait there."""

    url: str
    count: int
    words: str


class FletchbookSite(AdminSite):
    site_title = "Fletchbook"
    site_header = "Fletchbook"
    index_title = "Home"
    site_url = None
    index_template = "admin/index.html"
    enable_nav_sidebar = False

    def each_context(self, request: HttpRequest) -> dict[str, object]:
        book = apps.get_model("ledger", "Book")._default_manager.first()
        ours = {"book": book, "damage": faults.DAMAGED if upkeep.is_damaged() else "", "version": VERSION}
        return {**super().each_context(request), **ours}

    def get_app_list(self, request: HttpRequest, app_label: str | None = None) -> list[object]:
        """Of one room, for its own page; no page shows the list of all, which costs a fifth of any page."""
        return super().get_app_list(request, app_label) if app_label else []

    def i18n_javascript(self, request: HttpRequest, extra_context: dict[str, object] | None = None) -> HttpResponse:
        """Words of Django's own scripts, the same all day."""
        response = super().i18n_javascript(request, extra_context)
        patch_cache_control(response, private=True, max_age=24 * 3600)
        return response

    def index(self, request: HttpRequest, extra_context: dict[str, object] | None = None) -> TemplateResponse:
        home = {
            "scenes": [line for room in rooms.as_a_season_goes() for line in self._lines(request, room, Menu.SCENE)],
            "waiting": list(self._waiting(request)),
            "shelves": list(self._shelves(request)),
        }
        return super().index(request, {**home, **(extra_context or {})})

    def get_urls(self) -> list[URLPattern | URLResolver]:
        own = [address for room in rooms.in_order() for address in addresses(self, room.pages)]
        return [*own, *super().get_urls()]

    def _shelves(self, request: HttpRequest) -> Iterator[Shelf]:
        for room in rooms.as_a_season_goes():
            lines = tuple(line for place in (Menu.DAILY, Menu.SETTING) for line in self._lines(request, room, place))
            if lines:
                yield Shelf(room.label, str(apps.get_app_config(room.label).verbose_name), room.purpose, lines)

    def _lines(self, request: HttpRequest, room: Room, place: Menu) -> Iterator[MenuLine]:
        for each in room.menu:
            if each.place != place:
                continue
            line = self._list_of(request, room, each) if isinstance(each, ListOf) else _entry(request, each)
            if line:
                yield line

    def _list_of(self, request: HttpRequest, room: Room, each: ListOf) -> MenuLine | None:
        model = apps.get_model(each.app or room.label, each.model)
        screen = self.get_model_admin(model)
        if not screen.has_view_permission(request):
            return None
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        add_url = reverse(f"{name}_add") if screen.has_add_permission(request) else ""
        return MenuLine(_plural(model), reverse(f"{name}_changelist"), add_url)

    def _waiting(self, request: HttpRequest) -> Iterator[Waiting]:
        today = clock.today()
        for room in rooms.as_a_season_goes():
            for each in room.waits:
                if may(request.user, each.permission) and (count := each.count(today)):
                    yield Waiting(_url_of(each), count, each.one if count == 1 else each.many)


def _entry(request: HttpRequest, entry: Entry) -> MenuLine | None:
    arguments = entry.arguments() if may(request.user, entry.permission) else None
    if arguments is None:
        return None
    return MenuLine(entry.title, reverse(entry.page, args=arguments), line=entry.line)


def _url_of(waits: Waits) -> str:
    return reverse(waits.page) + (f"?{waits.query}" if waits.query else "")


def _plural(model: type[models.Model]) -> str:
    return str(model._meta.verbose_name_plural).capitalize()
