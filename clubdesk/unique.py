"""What a unique index of the database says, in the words of its constraint."""

import re
from collections.abc import Iterator

from django.apps import apps
from django.db import IntegrityError
from django.db.models import Field, Model, UniqueConstraint

UNIQUE_VIOLATION = "23505"
"""Source: PostgreSQL, Appendix A, error codes."""
SAVED_BEFORE = "This was saved already, by a press of the button before; look for it first."


def sentence_of(refusal: Exception) -> str:
    """What a person is told whose row is like another; blank where no unique index refused it."""
    if not isinstance(refusal, IntegrityError):
        return ""
    name, columns = _index_of(refusal)
    for model, constraint in _constraints():
        if constraint.name == name or (columns and columns == _columns(model, constraint)):
            return str(constraint.violation_error_message)
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if field.unique and columns == {(model._meta.db_table, str(field.column))}:
                return _of_field(model, field)
    return ""


def _index_of(refusal: IntegrityError) -> tuple[str, set[tuple[str, str]]]:
    """The index's name where the database tells it, and its columns, each with its table."""
    diagnosis = getattr(refusal.__cause__, "diag", None)
    if diagnosis is not None:
        if diagnosis.sqlstate != UNIQUE_VIOLATION:
            return "", set()
        told = re.match(r"Key \((.*?)\)=", diagnosis.message_detail or "")
        columns = told.group(1).replace('"', "").split(", ") if told else []
        return diagnosis.constraint_name or "", {(diagnosis.table_name, column) for column in columns}
    told = re.match(r"UNIQUE constraint failed: (?:index '(?P<name>\w+)'|(?P<columns>.*))", str(refusal))
    if told is None:
        return "", set()
    names = [each.partition(".") for each in (told["columns"] or "").split(", ") if each]
    return told["name"] or "", {(table, column) for table, _, column in names}


def _constraints() -> Iterator[tuple[type[Model], UniqueConstraint]]:
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            if isinstance(constraint, UniqueConstraint):
                yield model, constraint


def _columns(model: type[Model], constraint: UniqueConstraint) -> set[tuple[str, str]]:
    fields = [model._meta.get_field(name) for name in constraint.fields]
    return {(model._meta.db_table, str(field.column)) for field in fields if isinstance(field, Field)}


def _of_field(model: type[Model], field: "Field[object, object]") -> str:
    if field.name in ("key", "id"):
        return SAVED_BEFORE
    noun, what = model._meta.verbose_name, field.verbose_name
    return f"There is a {noun} with this {what} already; look for it, or write another {what}."
