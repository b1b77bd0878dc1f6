"""The roles of a club as Django groups, each with what the rooms say that it may do."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.contrib.auth.models import Group, Permission
from django.db import transaction

from clubdesk import rooms
from clubdesk.rooms import ROLES, SEE_ALL


def permissions_of(role: str) -> set[str]:
    """The permissions that the rooms give to a role, as “fees.add_charge”; `SEE_ALL` as “fees.view_*”."""
    return {f"{room.label}.{codename}" for room in rooms.in_order() for codename in room.roles.get(role, ())}


@transaction.atomic
def make_roles() -> list[Group]:
    """Make the groups, or bring them back to what they may do; who is in them stays."""
    known = _known()
    return [_make(role, known) for role in ROLES]


def _make(role: str, known: dict[str, Permission]) -> Group:
    group, _ = Group.objects.get_or_create(name=role)
    group.permissions.set(_found(permissions_of(role), known))
    return group


def _known() -> dict[str, Permission]:
    """Every permission that there is, by its name."""
    rows = Permission.objects.select_related("content_type")
    return {f"{each.content_type.app_label}.{each.codename}": each for each in rows}


def _found(names: Iterable[str], known: dict[str, Permission]) -> Iterator[Permission]:
    """Raises LookupError for a name that no permission has."""
    views = defaultdict(list)
    for name, permission in known.items():
        label, _, codename = name.partition(".")
        if codename.startswith("view_"):
            views[f"{label}.{SEE_ALL}"].append(permission)
    for name in names:
        if name.endswith(SEE_ALL):
            yield from views[name]
        elif name in known:
            yield known[name]
        else:
            raise LookupError(f"No such permission: {name}")
