"""Who changed what: what the rooms say is recorded is watched by django-auditlog, which writes an `ActRecord` a change.

What no signal tells, an update of many rows at once, no verb does to what is recorded (a test looks for it).
"""

import logging
from functools import cache
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.core import context
from auditlog.diff import model_instance_diff
from auditlog.registry import auditlog
from auditlog.signals import pre_log
from django.apps import apps
from django.contrib.auth.models import Group, User
from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import ObjectDoesNotExist, PermissionDenied
from django.db.models import Model

from clubdesk import rooms
from clubdesk.desk.models import ActRecord
from clubdesk.handing import Handed, handed_out
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Recorded
from clubdesk.verbs import acting

log = logging.getLogger("clubdesk.desk.signin.rights")
HIDDEN = "…"
"""What stands for a value that is never written down."""
OF_SIGNING_IN = (User, Group)
_said: dict[str, Recorded] = {}
"""What is recorded since the site started."""


def recorded() -> dict[str, Recorded]:
    """What the rooms say is recorded, by the label of the model."""
    return {each.model: each for room in rooms.in_order() for each in room.recorded}


def watch() -> None:
    """Called once, when the site starts and every room has told of itself."""
    _said.update(recorded())
    for label, each in _said.items():
        model: Any = apps.get_model(label)
        followed = [field.name for field in model._meta.concrete_fields if not field.primary_key]
        auditlog.register(
            model,
            include_fields=[name for name in followed if name not in each.leaves],
            m2m_fields=set(each.sets),
        )
        pre_log.connect(_is_written, sender=model, dispatch_uid=f"spares {label}")
    handed_out.connect(_write_handed, dispatch_uid="handed_out")


def _is_written(sender: type[Model], instance: Model, **given: object) -> bool:
    return not _said[type(instance)._meta.label].spares(instance)


def as_written(row: Model, changes: dict[str, Any]) -> dict[str, Any]:
    """The changes without what is never written down."""
    said, written = _said[type(row)._meta.label], dict(changes)
    for name in said.hidden:
        if name in written:
            written[name] = [value and HIDDEN for value in written[name]]
    for name in said.masked:
        if name in written:
            written[name] = [value and f"{HIDDEN}{value[-3:]}" for value in written[name]]
    return written


def readable(row: Any) -> Any:
    """The row, as the database reads it where it was given values that its own name cannot say, as a day in letters."""
    try:
        str(row)
    except (AttributeError, TypeError, ValueError):
        return type(row)._base_manager.get(pk=row.pk)
    return row


def whose(row: Model) -> dict[str, Any]:
    """Who does it, from where, and the person and the family that the row is about."""
    person = family = None
    for lookups in _about(type(row)._meta.label):
        person = person or _number_at(row, lookups[0])
        family = family or _number_at(row, lookups[1])
    if person and not family:
        family = row.household_id if isinstance(row, Person) else Person.everyone.get(pk=person).household_id
    if isinstance(row, Person | Household) and row.merged_into_id:
        person, family = (row.now.pk, row.now.household_id) if isinstance(row, Person) else (None, row.now.pk)
    return {"actor": _who(), "remote_addr": _address(), "person_id": person, "family_id": family}


@cache
def _about(label: str) -> list[tuple[str, str]]:
    """The lookups from a row to the person and to the family that it is about."""
    return [(each.person, each.family) for room in rooms.in_order() for each in room.personal if each.model == label]


def _number_at(row: Any, lookup: str) -> int | None:
    """The number at the end of a lookup, “person__household”."""
    if not lookup:
        return None
    *before, last = lookup.split("__")
    try:
        for name in before:
            row = row and getattr(row, name)
        return getattr(row, "pk" if last == "pk" else f"{last}_id", None)
    except ObjectDoesNotExist:
        return None


def _who() -> User | None:
    """Who does the verb, or else who is signed in; None for the program itself."""
    user = acting() or getattr(context.request, "user", None)
    return user if isinstance(user, User) else None


def _address() -> str | None:
    if context.request is None:
        return None
    try:
        return str(get_adapter().get_client_ip(context.request))
    except PermissionDenied:
        return None


def _write_handed(by: object, act: Handed, **given: object) -> None:
    who = by if isinstance(by, User) else None
    family = _standing_family(act.family)
    ActRecord.objects.create(
        action=ActRecord.Action.ACCESS,
        what=act.what,
        rows=act.rows,
        family_id=family,
        actor=who,
        remote_addr=_address(),
    )


def note_as_it_stands() -> None:
    """Write down how what is proven by the record stands, where a book began before the record did."""
    for label in (each.model for each in recorded().values() if each.proven):
        model: Any = apps.get_model(label)
        acts = ActRecord.objects.filter(content_type=ContentType.objects.get_for_model(model))
        known = set(acts.values_list("object_pk", flat=True))
        for row in model._base_manager.order_by("pk"):
            if str(row.pk) not in known:
                stands = model_instance_diff(None, row, use_json_for_changes=True)
                ActRecord.objects.log_create(row, action=ActRecord.Action.NOTED, changes=stands)


def write_erased(person: Person, by: User) -> None:
    """That the details of a person went, and those of its family with the last of it."""
    about = {"person_id": person.pk, "family_id": person.household_id}
    ActRecord.objects.create(action=ActRecord.Action.ERASE, actor=by, remote_addr=_address(), **about)


def _standing_family(number: int | None) -> int | None:
    """The family that it is now, where it was merged into another."""
    return Household.everyone.get(pk=number).now.pk if number else None


def tell_the_log(row: ActRecord) -> None:
    """A change of who may do what stands in the log as well."""
    if row.content_type and row.content_type.model_class() in OF_SIGNING_IN:
        level = logging.INFO if row.remote_addr else logging.DEBUG
        log.log(level, "%s by %s, from %s: %s", row, row.actor, row.remote_addr or "this machine", row.changes)
