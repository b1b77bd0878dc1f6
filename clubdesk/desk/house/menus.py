"""Rooms and their menus: each room tells of itself, each list is found, each address leads somewhere."""

from collections import Counter
from collections.abc import Iterator

from django.conf import settings
from django.contrib import admin
from django.urls import NoReverseMatch, get_resolver, reverse

from clubdesk import rooms
from clubdesk.rooms import Entry, ListOf


def every_room_tells_of_itself() -> Iterator[str]:
    for label in settings.ROOMS:
        if label not in rooms.ROOMS:
            yield f"The room {label} does not tell of itself: give it a room.py with its ROOM and apps.py a RoomConfig."
        elif not rooms.ROOMS[label].purpose:
            yield f"The room {label} does not say what it is for: give its ROOM a purpose."


def every_list_stands_in_a_menu() -> Iterator[str]:
    listed = Counter(
        f"{each.app or room.label}.{each.model}".lower()
        for room in rooms.in_order()
        for each in room.menu
        if isinstance(each, ListOf)
    )
    shown = {model._meta.label_lower for model in admin.site._registry}
    for label in sorted(shown - listed.keys()):
        yield f"{label} has a list that no menu leads to: name it with ListOf in its room's menu."
    for label in sorted(listed.keys() - shown):
        yield f"A menu lists {label}, which has no screen."
    for label in sorted(label for label, times in listed.items() if times > 1):
        yield f"{label} stands in menus more than once."


def every_address_is_known() -> Iterator[str]:
    known = get_resolver().namespace_dict["admin"][1].reverse_dict
    for room in rooms.in_order():
        entries = [each for each in room.menu if isinstance(each, Entry)]
        for name in (*(each.page for each in entries), *(each.page for each in room.waits)):
            if name.removeprefix("admin:") not in known:
                yield f"The room {room.label} leads to {name}, which is no page."
        for waits in room.waits:
            if not _leads_somewhere(waits.page):
                yield f"What waits in {room.label} leads to {waits.page}, which needs to know a document."
        shown = [*((f"card “{each.title}”", each.page) for each in room.cards if each.page)]
        shown += [(f"first thing “{each.title}”", each.page) for each in room.first_things if not each.of]
        for what, page in shown:
            if not _leads_somewhere(page):
                yield f"The {what} leads to {page}, which is no page that needs to know nothing."
        for thing in room.first_things:
            if thing.of and not _leads_somewhere(thing.page, 1):
                yield f"The first thing “{thing.title}” leads to {thing.page}, which is no page of a row."


def _leads_somewhere(name: str, *row: int) -> bool:
    try:
        reverse(name, args=row)
    except NoReverseMatch:
        return False
    return True
