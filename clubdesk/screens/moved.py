"""What somebody else has changed since a page was opened: told beside what was typed, and nothing saved until then.

A page carries what it showed in a hidden field, `opened`, signed. Whoever sends an older page sees what it held, what
holds now and what they typed, and presses again; what they did not touch takes what holds now.
"""

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from django import forms
from django.contrib import admin
from django.contrib.admin.utils import unquote
from django.core.signing import BadSignature, Signer
from django.db import connection, models
from django.forms.models import _get_foreign_key
from django.forms.utils import pretty_name
from django.http import HttpRequest, HttpResponse, QueryDict
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.money import AmountFormField, shown
from clubdesk.screens.tables import Link

Row = TypeVar("Row", bound=models.Model)
Facts = Iterable[tuple[str, object]]
Plain = str | bool | list[str]
"""What a field holds, as a page can carry it and as it is compared."""
OPENED = "opened"
signer = Signer(salt="clubdesk.screens.moved")


def sealed(held: object) -> str:
    return signer.sign_object(held, compress=True)


def unsealed(sent: str) -> Any:
    """What a page had been opened with; None where it does not say."""
    try:
        return signer.unsign_object(sent)
    except (BadSignature, ValueError):
        return None


# Pages of verbs


@dataclass(frozen=True)
class Moved:
    """A line of what moved on: what it is, what it was when the page was opened, and what it is now."""

    label: str
    was: str
    now: str


def held_by(target: object, facts: Facts, form: forms.Form, starts: dict[str, object]) -> dict[str, Any] | None:
    """What a verb's page is opened with: a digest of the document's row, its state, its facts, its form's values."""
    if not isinstance(target, models.Model):
        return None
    told = [[label, _text(value)] for label, value in facts]
    state = getattr(target, "get_state_display", str)()
    if state and all(state != text for _, text in told):
        told.append(["It is", state])
    for name, value in starts.items():
        field = form.fields.get(name)
        if field is not None and not field.widget.is_hidden:
            label = form.base_fields.get(name, field).label or pretty_name(name)
            told.append([f"“{label}” as stored", _words(field, _plain(field, value))])
    return {"row": _digest(target), "facts": told}


def what_moved(request: HttpRequest, now: dict[str, Any] | None) -> list[Moved] | None:
    """The facts that moved since the page that is sent was opened; None where nothing of it and of its row did."""
    opened = unsealed(request.POST.get(OPENED, ""))
    if opened is None or now is None or opened == now:
        return None
    was, is_now = dict(opened["facts"]), dict(now["facts"])
    labels = [*is_now, *(label for label in was if label not in is_now)]
    lines = [Moved(label, was.get(label, "nothing"), is_now.get(label, "nothing")) for label in labels]
    return [line for line in lines if line.was != line.now]


def _digest(target: models.Model) -> str:
    row = [str(field.value_from_object(target)) for field in target._meta.concrete_fields]
    return hashlib.sha256(repr(row).encode()).hexdigest()[:16]


def _text(value: object) -> str:
    if isinstance(value, Money):
        return shown(value)
    if isinstance(value, Link):
        return value.text
    return day_text(value) if isinstance(value, date) else str(value)


# Forms of plain nouns


class AsOpened(forms.ModelForm[Any]):
    """A form of the admin site: it says field by field what moved on since it was opened, and writes what changed."""

    asks = ""
    """What is to be looked at before a form is saved that has no fault, with the hidden field that says it was."""
    gone: tuple[str, ...] | list[str] = ()
    """Of the form of a page, which of its rows somebody has taken away, in words."""

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.before = _columns(self.instance)
        self.pk_before = self.instance.pk
        self.moved = 0

    @property
    def name(self) -> str:
        """Which form of its page it is, in whatever order the rows stand."""
        return f"{(self.prefix or '').rpartition('-')[0]} {self.pk_before}"

    @property
    def held(self) -> dict[str, Plain]:
        """What the book holds in its fields."""
        return {
            name: _plain(field, self.initial[name])
            for name, field in self.fields.items()
            if name in self.initial and not field.disabled and not field.widget.is_hidden
        }

    def full_clean(self) -> None:
        super().full_clean()
        if self.prefix is None and self.gone:
            self.moved += 1
            self.add_error(None, f"Somebody has taken away {', '.join(self.gone)} since you opened the page.")
        if not self.is_bound or self.pk_before is None:
            return
        opened = _opened_of(self.data).get(self.name, {})
        for name, now in self.held.items():
            if opened.get(name, now) != now and now != self._typed(name):
                self._say(name, opened[name], now)
        if self.moved:
            self.cleaned_data.pop("DELETE", None)

    def _typed(self, name: str) -> Plain:
        """What was typed, as the book would hold it; as it was typed, where that is no value of the field."""
        if name in self.cleaned_data:
            return _plain(self.fields[name], self.cleaned_data[name])
        return str(self[name].data)

    def _say(self, name: str, was: Plain, now: Plain) -> None:
        """Beside the field; what was typed stays in it, and where nothing was it takes what holds now."""
        field, typed = self.fields[name], self._typed(name)
        self.moved += 1
        words = f"You opened it with {_words(field, was)}; it has since been made {_words(field, now)}"
        if typed == was:
            self._show(name, now)
            words += ", which stays."
        else:
            words += f". You typed {_words(field, typed)}, which replaces it if you save again."
        self.add_error(name, words)

    def _show(self, name: str, value: Plain) -> None:
        data, html_name = self.data.copy(), self.add_prefix(name)  # type: ignore[attr-defined]
        if isinstance(value, list):
            data.setlist(html_name, value)
        elif isinstance(value, bool):
            data.setlist(html_name, ["on"] if value else [])
        else:
            data[html_name] = value
        self.data = data

    def save(self, commit: bool = True) -> Any:
        if not commit or self.pk_before is None:
            return super().save(commit)
        self.instance.save(update_fields=self.changed_columns())
        self._save_m2m()  # type: ignore[attr-defined]
        return self.instance

    def changed_columns(self) -> list[str]:
        """The columns in which its row is not any more as it was read."""
        return [name for name, value in _columns(self.instance).items() if value != self.before[name]]


def _columns(row: models.Model) -> dict[str, object]:
    return {field.name: field.value_from_object(row) for field in row._meta.concrete_fields}


def _opened_of(data: Any) -> dict[str, dict[str, Plain]]:
    return unsealed(data.get(OPENED, "")) or {}


def _plain(field: forms.Field, value: Any) -> Plain:
    value = field.prepare_value(value)
    if isinstance(value, bool):
        return value
    if isinstance(value, Iterable) and not isinstance(value, str):
        return sorted(str(field.prepare_value(each)) for each in value)
    return "" if value is None else str(value).replace("\r\n", "\n")


def _words(field: forms.Field, value: Plain) -> str:
    """What a field holds, as a person says it."""
    if isinstance(value, bool):
        return "ticked" if value else "not ticked"
    if not value:
        return "nothing"
    if isinstance(field, forms.ModelChoiceField):
        assert field.queryset is not None
        rows = field.queryset.filter(pk__in=value if isinstance(value, list) else [value])
        return _quoted(field.label_from_instance(row) for row in rows)
    if isinstance(field, forms.ChoiceField):
        choices: Any = field.choices
        labels = {str(key): str(label) for key, label in choices}
        return _quoted([labels.get(str(value), str(value))])
    return _quoted([_by_kind(field, str(value))])


def _by_kind(field: forms.Field, value: str) -> str:
    try:
        if isinstance(field, forms.DateField):
            return day_text(date.fromisoformat(value))
        return shown(Decimal(value)) if isinstance(field, AmountFormField) else value
    except (ValueError, ArithmeticError):
        return value


def _quoted(words: Iterable[str]) -> str:
    return ", ".join(f"“{each}”" for each in words)


class SaysWhatMoved(admin.ModelAdmin[Row]):
    """A screen whose forms say what moved on since they were opened, and write only what changed."""

    def get_object(self, request: HttpRequest, object_id: str, from_field: str | None = None) -> Row | None:
        """The row; a column named by an address is one or none, though Django looks for one without a name as well."""
        return super().get_object(request, object_id, from_field or None)

    def get_form(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        request.gone = []  # type: ignore[attr-defined]
        return _as_opened(super().get_form(request, *args, **kwargs), gone=request.gone)  # type: ignore[attr-defined]

    def get_formsets_with_inlines(self, request: HttpRequest, obj: Any = None) -> Iterator[tuple[Any, Any]]:
        for formset, inline in super().get_formsets_with_inlines(request, obj):
            formset.form = _as_opened(formset.form)
            yield formset, inline

    def get_formset_kwargs(self, request: HttpRequest, obj: Any, inline: Any, prefix: str) -> dict[str, Any]:
        """Of what was sent, the rows that are still there: Django would take the next row for one that is gone."""
        kwargs: dict[str, Any] = super().get_formset_kwargs(request, obj, inline, prefix)
        if "data" in kwargs and obj.pk:
            of_page = _get_foreign_key(self.model, inline.model, fk_name=inline.fk_name)
            there = inline.model._default_manager.filter(**{of_page.name: obj}).values_list("pk", flat=True)
            kwargs["data"], gone = _still_there(kwargs["data"], prefix, set(map(str, there)))
            request.gone += [f"{inline.opts.verbose_name} {_quoted([each])}" for each in gone]  # type: ignore[attr-defined]
        return kwargs

    def _changeform_view(self, request: HttpRequest, object_id: str | None, *rest: Any) -> Any:
        """What is about to be written is held first, so that nobody writes between the comparing and the saving."""
        if object_id and request.method == "POST" and connection.in_atomic_block:
            found = self.get_object(request, unquote(object_id))
            if found is not None:
                self.hold(found)
        return super()._changeform_view(request, object_id, *rest)  # type: ignore[misc]

    def hold(self, row: Row) -> None:
        """Lock what must be locked first of all that saving the row locks."""
        type(row)._default_manager.select_for_update(no_key=True).get(pk=row.pk)

    def save_model(self, request: HttpRequest, obj: Row, form: Any, change: bool) -> None:
        if change:
            obj.save(update_fields=form.changed_columns())
        else:
            obj.save()

    def render_change_form(
        self, request: HttpRequest, context: dict[str, Any], *args: Any, **kwargs: Any
    ) -> HttpResponse:
        inside = [form for each in context["inline_admin_formsets"] for form in each.formset.forms]
        found = [context["adminform"].form, *inside]
        context["opened"] = sealed({form.name: form.held for form in found if form.pk_before})
        context["moved"] = sum(form.moved for form in found)
        # Where all there is has only moved on, nothing is to be corrected, but to be looked at.
        context["asks"] = next((form.asks for form in found if form.asks), "")
        context["faulty"] = not context["asks"] and context["moved"] != sum(map(len, context["errors"]))
        context["errors"] = []  # Django's own line; ours lists each (`faults`)
        return super().render_change_form(request, context, *args, **kwargs)


def _as_opened(form: type[forms.ModelForm[Any]], **told: Any) -> type[AsOpened]:
    return type(form.__name__, (AsOpened, form), told)


def _still_there(data: QueryDict, prefix: str, pks: set[str]) -> tuple[QueryDict, list[str]]:
    """What was sent without the rows that are gone, numbered anew, and what stood first in each of these."""
    counts = [data.get(f"{prefix}-{each}_FORMS", "") for each in ("INITIAL", "TOTAL")]
    if not all(count.isdecimal() and len(count) < 4 for count in counts):
        return data, []
    known, total = map(int, counts)
    sent = {number: data.get(f"{prefix}-{number}-id", "") for number in range(known)}
    gone = [number for number, pk in sent.items() if pk and pk not in pks]
    rows = [_row_of(data, f"{prefix}-{number}-") for number in range(total) if number not in gone]
    if gone:
        whole = data.copy()
        for number in range(total):
            for name in _row_of(data, f"{prefix}-{number}-"):
                del whole[f"{prefix}-{number}-{name}"]
        for number, row in enumerate(rows):
            for name, values in row.items():
                whole.setlist(f"{prefix}-{number}-{name}", values)
        whole[f"{prefix}-INITIAL_FORMS"], whole[f"{prefix}-TOTAL_FORMS"] = str(known - len(gone)), str(len(rows))
        return whole, [next(iter(_row_of(data, f"{prefix}-{number}-").values()))[0] for number in gone]
    return data, []


def _row_of(data: QueryDict, beginning: str) -> dict[str, list[str]]:
    return {name.removeprefix(beginning): data.getlist(name) for name in data if name.startswith(beginning)}
