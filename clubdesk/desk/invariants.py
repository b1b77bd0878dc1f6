"""What must always be true of the record of acts: what it says of the books' own frame is how that frame stands."""

from collections.abc import Iterator
from typing import Any

from auditlog.diff import get_field_value, is_primitive
from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.utils.encoding import smart_str

from clubdesk.desk.models import ActRecord
from clubdesk.desk.recording import recorded
from clubdesk.ledger.invariants import invariant
from clubdesk.rooms import Recorded

Known = dict[str, dict[str, Any]]
"""By the number of a row what each column was last changed to; a row that was deleted is not there."""


@invariant("Accounts, the club’s bank accounts and sign-offs are as their last recorded change left them")
def as_recorded() -> Iterator[str]:
    """Also where another program changed them: what a page or a verb does leaves its trace."""
    for said in recorded().values():
        if said.proven:
            yield from _faults_of(said)


def _faults_of(said: Recorded) -> Iterator[str]:
    model: Any = apps.get_model(said.model)
    noun, known = model._meta.verbose_name, _known(model)
    fields = [model._meta.get_field(name) for name in said.proven]
    for row in model._base_manager.order_by("pk").iterator(chunk_size=2000):
        recorded_of = known.pop(str(row.pk), None)
        if recorded_of is None:
            yield f"The {noun} {row} was added without a trace."
            continue
        for field in fields:
            value = get_field_value(row, field, use_json_for_changes=True)
            if (value if is_primitive(value) else smart_str(value)) != recorded_of.get(field.name):
                yield f"The {field.verbose_name} of the {noun} {row} was changed without a trace."
    for pk in known:
        yield f"The {noun} with the number {pk} was deleted without a trace."


def _known(model: Any) -> Known:
    known: Known = {}
    rows = ActRecord.objects.filter(content_type=ContentType.objects.get_for_model(model)).order_by("pk")
    for act in rows.iterator(chunk_size=2000):
        if act.action == ActRecord.Action.DELETE:
            known.pop(act.object_pk, None)
            continue
        known.setdefault(act.object_pk, {}).update({name: change[1] for name, change in (act.changes or {}).items()})
    return known
