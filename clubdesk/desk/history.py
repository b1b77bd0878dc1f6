"""The record of acts as people read it: sentences, on a page of each family, person and thing.

What a row leads to is named as it is called now, so that the record holds nobody's name that an erasing must know.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any

from django.apps import apps
from django.contrib.admin import AdminSite
from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import FieldDoesNotExist, PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Field, Model, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.timezone import localtime

from clubdesk.clock import day_text
from clubdesk.desk.models import ActRecord
from clubdesk.desk.recording import HIDDEN, recorded
from clubdesk.money import Cents
from clubdesk.roll.models import Household, Person
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section, page_of
from clubdesk.verbs import SHELL_USER, may

A_PAGE = 50
SEES_FAMILIES = "roll.view_household"
NOBODY_BY_NAME = "A command, or a family on its own pages,"
PROGRAM = "Fletchbook by itself"
Action = ActRecord.Action


def sentences(rows: Sequence[ActRecord]) -> Iterator[str]:
    """What each row says, with who did it: “Kay Mirabar changed the phone of Jo Mirabar from 0400 to 0411.”"""
    names = _Names(rows)
    return (f"{_who(row)} {_did(row, names)}." for row in rows)


def _who(row: ActRecord) -> str:
    if row.actor is None:
        return PROGRAM
    if row.actor.username == SHELL_USER:
        return NOBODY_BY_NAME
    return str(row.actor.get_full_name() or row.actor.get_username())


def _did(row: ActRecord, names: "_Names") -> str:
    if row.action == Action.ERASE:
        return f"erased the details of person {row.person_id}"
    if row.action == Action.ACCESS:
        rows = f" ({row.rows:,} {'row' if row.rows == 1 else 'rows'})" if row.rows is not None else ""
        of = f" of {row.family}" if row.family else ""
        return f"{row.what}{of}{rows}"
    model, changes = _model_of(row), row.changes or {}
    if row.action in (Action.CREATE, Action.NOTED):
        return _listed("added" if row.action == Action.CREATE else "noted as it stood", row, model, names, place=1)
    if row.action == Action.DELETE:
        return _listed("deleted", row, model, names, place=0)
    return "; ".join(_changed(name, change, row, model, names) for name, change in sorted(changes.items()))


def _listed(did: str, row: ActRecord, model: type[Model] | None, names: "_Names", *, place: int) -> str:
    """What was done to the whole row, and each value of it that its name does not say."""
    what = _what(row, model)
    values = {
        _label(model, name): names.shown(model, name, change[place])
        for name, change in sorted((row.changes or {}).items())
        if isinstance(change, list) and change[place] not in (None, "", False, HIDDEN)
    }
    parts = [f"{label} {value}" for label, value in values.items() if value not in what]
    return f"{did} {what}: {', '.join(parts)}" if parts else f"{did} {what}"


def _what(row: ActRecord, model: type[Model] | None) -> str:
    """The kind of thing and what it was called, once where the name says the kind."""
    noun = str(model._meta.verbose_name) if model else "thing"
    if row.object_repr.lower().startswith(noun.lower()):
        return f"{row.object_repr[0].lower()}{row.object_repr[1:]}"
    return row.object_repr if noun.lower() in row.object_repr.lower() else f"the {noun} {row.object_repr}"


def _changed(name: str, change: Any, row: ActRecord, model: type[Model] | None, names: "_Names") -> str:
    label, what = _label(model, name), row.object_repr
    if isinstance(change, dict):
        gave, several = change["operation"] == "add", ", ".join(change["objects"])
        return f"{'gave' if gave else 'took from'} {what} the {label} {several}"
    if model and (did := recorded()[label_of(model)].said.get(name)):
        return f"{did} of {what}"
    before, since = change
    if HIDDEN in (before, since):
        return f"changed the {label} of {what}"
    old, new = (names.shown(model, name, value) for value in (before, since))
    return f"changed the {label} of {what} from {old} to {new}"


def _model_of(row: ActRecord) -> type[Model] | None:
    kind = ContentType.objects.get_for_id(row.content_type_id) if row.content_type_id else None
    return kind.model_class() if kind else None


def _label(model: type[Model] | None, name: str) -> str:
    try:
        return str(getattr(model._meta.get_field(name), "verbose_name", name)) if model else name
    except FieldDoesNotExist:
        return name


class _Names:
    """What the values of many rows are called, asked once for each kind of thing that they lead to."""

    def __init__(self, rows: Iterable[ActRecord]):
        wanted: dict[type[Model], set[Any]] = defaultdict(set)
        for row in rows:
            model = _model_of(row)
            for name, change in (row.changes or {}).items():
                if (to := _leads_to(model, name)) and isinstance(change, list):
                    wanted[to] |= {value for value in change if value is not None and value != "erased"}
        self._found = {
            model: {str(pk): str(each) for pk, each in model._base_manager.in_bulk(pks).items()}
            for model, pks in wanted.items()
        }

    def shown(self, model: type[Model] | None, name: str, value: Any) -> str:
        """A value as people read it."""
        if value is None or value == "":
            return "nothing"
        if isinstance(value, bool):
            return "yes" if value else "no"
        if to := _leads_to(model, name):
            return self._found[to].get(str(value), str(value))
        field = _field_of(model, name)
        if field is None:
            return str(value)
        if field.choices:
            return str(dict(field.flatchoices).get(value, value))
        return _as_read(field, value)


def _field_of(model: type[Model] | None, name: str) -> "Field[Any, Any] | None":
    try:
        field = model._meta.get_field(name) if model else None
    except FieldDoesNotExist:
        return None
    return field if isinstance(field, Field) else None


def _leads_to(model: type[Model] | None, name: str) -> type[Model] | None:
    field = _field_of(model, name)
    related = field.related_model if field is not None and not field.many_to_many else None
    return related if isinstance(related, type) else None


def _as_read(field: "Field[Any, Any]", value: Any) -> str:
    if isinstance(field, Cents):
        return str(value).replace("-", "−")
    try:
        real = field.to_python(value)
    except Exception:
        return str(value)
    if isinstance(real, datetime):
        return day_text(localtime(real)) if real.tzinfo else day_text(real)
    return day_text(real) if isinstance(real, date) else str(value)


# The page


def rows_about(one: Model) -> QuerySet[ActRecord]:
    """Of a family all that is about it, of a person all about them, else what became of the row itself."""
    if isinstance(one, Household | Person):
        merged = type(one).everyone.filter(Q(pk=one.pk) | Q(merged_into=one.pk)).values("pk")
        found: QuerySet[ActRecord] = ActRecord.objects.filter(
            **{"family__in" if isinstance(one, Household) else "person__in": merged}
        )
    else:
        kind = ContentType.objects.get_for_model(type(one))
        found = ActRecord.objects.filter(content_type=kind, object_pk=str(one.pk))
    return found.select_related("actor", "family")


def seen_by(user: object, rows: QuerySet[ActRecord]) -> QuerySet[ActRecord]:
    """Without what is of a kind that the user may not look at now."""
    kinds = ContentType.objects.get_for_models(*(apps.get_model(label) for label in recorded()))
    seen = [
        kind.pk for model, kind in kinds.items() if may(user, f"{model._meta.app_label}.view_{model._meta.model_name}")
    ]
    about_nobody = Q() if may(user, SEES_FAMILIES) else Q(family=None, person=None)
    return rows.filter(Q(content_type=None) | Q(content_type__in=seen), about_nobody)


def history(request: HttpRequest, site: AdminSite, label: str, pk: str) -> HttpResponse:
    """What became of a row, the newest first."""
    one = _one(label, pk)
    admin = site._registry.get(type(one))
    if admin is None or not admin.has_view_permission(request, one):
        raise PermissionDenied
    if isinstance(one, Household | Person) and not may(request.user, SEES_FAMILIES):
        raise PermissionDenied
    pages = Paginator(seen_by(request.user, rows_about(one)), A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    rows = list(page.object_list)
    lines = [(when(row), words) for row, words in zip(rows, sentences(rows), strict=True)]
    section = Section("What was done, the newest first", ["When", "What"], lines, "Nothing has been recorded yet.")
    return site_page(
        request, site, "desk/history.html", f"History of {one}", section=section, page=page,
        parent=Link(str(one), page_of(one)),
    )  # fmt: skip


def _one(label: str, pk: str) -> Model:
    try:
        model = apps.get_model(label)
        found: Model | None = model._base_manager.filter(pk=pk).first() if label_of(model) in recorded() else None
    except (LookupError, ValueError, OverflowError):
        found = None
    if found is None:
        raise Http404("There is nothing of that name here.")
    return found


def label_of(model: type[Model]) -> str:
    return str(model._meta.label)


def when(row: ActRecord) -> str:
    """The moment; the day in it is never broken."""
    at = localtime(row.timestamp)
    return f"{day_text(at)}, {at:%H:%M}".replace(" ", "\N{NO-BREAK SPACE}", 2)
