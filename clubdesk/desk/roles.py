"""The roles of a club as Django groups, each with what the rooms say that it may do."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.contrib.auth.models import Group, Permission
from django.db import transaction

from clubdesk import rooms
from clubdesk.desk.models import GivenToRole
from clubdesk.rooms import ROLES, SEE_ALL


def permissions_of(role: str) -> set[str]:
    """The permissions that the rooms give to a role, as “fees.add_charge”; `SEE_ALL` as “fees.view_*”."""
    return {f"{room.label}.{codename}" for room in rooms.in_order() for codename in room.roles.get(role, ())}


@transaction.atomic
def make_roles() -> list[Group]:
    """Make the groups, or give them what the rooms newly say; who is in them stays, and what was changed by hand."""
    known = _known()
    return [_make(role, known) for role in ROLES]


def _make(role: str, known: dict[str, Permission]) -> Group:
    """A role gets what the rooms did not give it before, and loses what they gave and say no more."""
    group, _ = Group.objects.get_or_create(name=role)
    wanted = {f"{each.content_type.app_label}.{each.codename}": each for each in _found(permissions_of(role), known)}
    given = set(GivenToRole.objects.filter(role=group).values_list("permission", flat=True))
    group.permissions.add(*(permission for name, permission in wanted.items() if name not in given))
    if gone := given - wanted.keys():
        group.permissions.remove(*(known[name] for name in gone if name in known))
        GivenToRole.objects.filter(role=group, permission__in=gone).delete()
    GivenToRole.objects.bulk_create(GivenToRole(role=group, permission=name) for name in wanted.keys() - given)
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
