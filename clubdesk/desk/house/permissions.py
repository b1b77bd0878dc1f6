"""Permissions: each that is named anywhere exists, and some role has it unless it is nobody's by name."""

from collections.abc import Iterator

from django.apps import apps
from django.contrib.auth import get_permission_codename

from clubdesk import rooms
from clubdesk.desk.house.pages import buttons
from clubdesk.desk.roles import permissions_of
from clubdesk.rooms import ROLES, SEE_ALL, Entry
from clubdesk.verbs import NOBODY, VERBS

OF_ADMINISTRATORS = ("auth.",)
"""What only an administrator has, who may everything."""


def known() -> set[str]:
    """Every permission that migrate makes."""
    found = set()
    for model in apps.get_models():
        meta = model._meta
        codenames = [get_permission_codename(action, meta) for action in meta.default_permissions]
        codenames += [codename for codename, _ in meta.permissions]
        found |= {f"{meta.app_label}.{codename}" for codename in codenames}
    return found


def named() -> Iterator[tuple[str, str]]:
    """Who names a permission, and which."""
    for verb in VERBS.values():
        yield f"The verb {verb.name}", verb.permission
    for button in buttons():
        yield f"The button “{button.title}”", button.permission
    for room in rooms.in_order():
        for entry in room.menu:
            if isinstance(entry, Entry):
                yield f"The menu of {room.label}", entry.permission
        for waits in room.waits:
            yield f"What waits in {room.label}", waits.permission
            yield f"What waits in {room.label}", waits.does
        for card in room.cards:
            yield f"The card “{card.title}”", card.permission
            if card.week:
                yield f"Whose week the card “{card.title}” is of", card.week
        for thing in room.first_things:
            yield f"The first thing “{thing.title}”", thing.permission
        for finder in room.finds:
            yield f"The finder “{finder.group}”", finder.permission
        for check in room.before_close:
            yield f"The check “{check.name}”", check.needs
        for page in room.pages:
            yield f"The page {page.name}", page.permission
        for codenames in room.roles.values():
            yield from ((f"A role in {room.label}", f"{room.label}.{name}") for name in codenames if name != SEE_ALL)


def every_permission_exists() -> Iterator[str]:
    there = known()
    for who, permission in sorted(set(named())):
        if permission not in there | {NOBODY, ""}:
            yield f"{who} asks for {permission}, which is no permission."


def every_permission_is_somebodys() -> Iterator[str]:
    had = {name for role in ROLES for name in permissions_of(role)}
    seen = {name.partition(".")[0] for name in had if name.endswith(SEE_ALL)}
    for who, permission in sorted(set(named())):
        room, _, codename = permission.partition(".")
        everyones = permission in ("", NOBODY) or permission.startswith(OF_ADMINISTRATORS)
        if not everyones and permission not in had and not (codename.startswith("view_") and room in seen):
            yield f"{who} asks for {permission}, which no role has: give it to one in {room}'s room.py."
