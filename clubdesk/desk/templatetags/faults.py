"""What is wrong with a form, in one list above it: each line leads to its field.

Source of the pattern: GOV.UK Design System, components error summary and error message: the list stands first, takes
the focus, says the same as the field, and the page's title begins with “Error:”.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django import template
from django.forms import BaseForm, BaseFormSet, BoundField

register = template.Library()


@dataclass(frozen=True)
class Fault:
    """A sentence, and the id of the field that it is about; blank where it is about no one field."""

    sentence: str
    field: str = ""


@register.inclusion_tag("screens/faults.html")
def faults(*forms: Any) -> dict[str, object]:
    """What is wrong with forms, sets of forms or what an admin page makes of them; nothing where all is well."""
    return {"faults": list(_all(forms))}


@register.filter
def is_wrong(form: Any) -> bool:
    """Whether a form that was sent has something to be put right."""
    return isinstance(form, BaseForm) and bool(form.errors)


def _all(forms: Iterable[Any]) -> Iterator[Fault]:
    for each in forms:
        if isinstance(each, BaseForm):
            yield from _of_form(each)
        elif isinstance(each, BaseFormSet):
            yield from (Fault(str(sentence)) for sentence in each.non_form_errors())
            yield from _all(each.forms)
        elif isinstance(each, list | tuple):
            yield from _all(each)
        elif hasattr(each, "formset"):
            yield from _all([each.formset])


def _of_form(form: BaseForm) -> Iterator[Fault]:
    if not form.is_bound:
        return
    for sentence in form.non_field_errors():
        yield Fault(str(sentence))
    for field in form:
        for sentence in field.errors:
            label = "" if field.is_hidden else f"{field.label}: "
            yield Fault(f"{label}{sentence}", "" if field.is_hidden else _id_of(field))


def _id_of(field: BoundField) -> str:
    """Where the field begins: a choice of several has no id of its own, its first one has."""
    return field.id_for_label or f"{field.auto_id}_0"
