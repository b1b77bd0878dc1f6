"""What is held about people: every row that leads to a person or a family is declared, and every text column of it."""

from collections.abc import Iterator

from django.apps import apps
from django.conf import settings
from django.core.exceptions import FieldDoesNotExist
from django.db import models

from clubdesk import rooms
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.rooms import Personal

PEOPLE: tuple[type[models.Model], ...] = (Person, Household, Guardian)
TEXTS = (models.CharField, models.TextField, models.FileField)


def declared() -> dict[str, list[Personal]]:
    """What the rooms say that they hold, by the label of the model."""
    found: dict[str, list[Personal]] = {}
    for room in rooms.in_order():
        for each in room.personal:
            found.setdefault(each.model, []).append(each)
    return found


def about_people() -> set[type[models.Model]]:
    """Every model of a room from which foreign keys lead to a person, a family or a guardian."""
    found = set(PEOPLE)
    ours = [model for model in apps.get_models() if model._meta.app_label in settings.ROOMS]
    grown = True
    while grown:
        new = {model for model in ours if model not in found and any(to in found for to in _leads_to(model))}
        found |= new
        grown = bool(new)
    return found


def _leads_to(model: type[models.Model]) -> Iterator[type[models.Model]]:
    return (field.related_model for field in model._meta.concrete_fields if isinstance(field.related_model, type))


def every_row_about_a_person_is_declared() -> Iterator[str]:
    said = declared()
    for model in sorted(about_people(), key=lambda model: model._meta.label):
        if model._meta.label not in said:
            yield f"{model._meta.label} leads to a person and is not declared: name it under personal in its room.py."
    for label, parts in said.items():
        for part in parts:
            yield from _unknown_names(label, part)


def _unknown_names(label: str, part: Personal) -> Iterator[str]:
    meta = apps.get_model(label)._meta
    named = {*part.told, *part.free, *(how.column for how in part.erased), *([part.goes_by] if part.goes_by else [])}
    for name in sorted(named):
        try:
            meta.get_field(name)
        except FieldDoesNotExist:
            yield f"What is declared of {label} names {name}, which is no column of it."
    if not part.person and not part.family:
        yield f"What is declared of {label} leads to nobody: say by which lookup it is about a person or a family."


def every_text_about_a_person_is_declared() -> Iterator[str]:
    said = declared()
    for model in sorted(about_people(), key=lambda model: model._meta.label):
        parts = said.get(model._meta.label, [])
        whole = any(part.goes_by for part in parts)
        named = {name for part in parts for name in (*part.told, *part.free, *(how.column for how in part.erased))}
        for field in model._meta.concrete_fields:
            if isinstance(field, TEXTS) and not field.choices and not whole and field.name not in named:
                yield f"{model._meta.label}.{field.name} is neither told to the family, nor erased, nor declared free."
