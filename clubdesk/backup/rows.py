"""Rows as lines that no database has a say in, and lines as rows for whichever database is open."""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any
from uuid import UUID

from django.apps.registry import Apps
from django.db import connection
from django.db.models import Field, ForeignKey, Model

LEFT_OUT = {"sessions.Session", "usersessions.UserSession", "desk.CacheRow", "desk.Upkeep"}
"""Who is signed in now is nobody's record, and nobody is signed in to a book that was restored; nor did the
machine that it is restored on do what another did.
"""
AT_ONCE = 2000
Read = Callable[[Any], Any]
ModelClass = type[Model]


def models_of(apps: Apps) -> list[ModelClass]:
    """The models whose rows are kept, in the order of their labels."""
    found = [model for model in apps.get_models(include_auto_created=True) if model._meta.managed]
    kept = [model for model in found if not model._meta.proxy and model._meta.label not in LEFT_OUT]
    return sorted(kept, key=lambda model: model._meta.label)


def columns_of(model: ModelClass) -> list[Field[Any, Any]]:
    """By name: the order in which a model declares them may change without a migration."""
    found = [each for each in model._meta.concrete_fields if not each.generated]
    return sorted(found, key=lambda each: str(each.column))


def lines_of(model: ModelClass) -> Iterator[bytes]:
    """Each row as a line, by its key; words are sorted here, since each database sorts them its own way."""
    names = ", ".join(_name(each) for each in columns_of(model))
    key = model._meta.pk
    assert key, "every table has a key"
    by_number = "Integer" in _kind(key) or "Auto" in _kind(key)
    order = f" ORDER BY {_name(key)}" if by_number else ""
    rows = _asked(f"SELECT {names} FROM {_quoted(model._meta.db_table)}{order}")
    found = (_line(row, _places_of_json(model)) for row in rows)
    yield from found if by_number else sorted(found)


def _asked(question: str) -> Iterator[tuple[Any, ...]]:
    """The answer's rows, never all of them in memory at once."""
    with connection.chunked_cursor() as cursor:
        cursor.execute(question)
        while rows := cursor.fetchmany(AT_ONCE):
            yield from rows


def _places_of_json(model: ModelClass) -> set[int]:
    """Which columns are JSON; both databases give it as text."""
    return {place for place, each in enumerate(columns_of(model)) if _kind(each) == "JSONField"}


def _line(row: Sequence[Any], as_json: set[int]) -> bytes:
    values = list(row)
    for place in as_json:
        values[place] = values[place] and json.loads(values[place])
    return json.dumps(values, default=_text, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode() + b"\n"


def _text(value: object) -> str:
    """Values that JSON has no word for."""
    if isinstance(value, datetime):
        at = value.astimezone(UTC) if value.tzinfo else value
        return at.replace(tzinfo=None).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, UUID):
        return value.hex
    raise TypeError(f"A column gives {type(value).__name__}, which no backup can hold yet.")


def put(model: ModelClass, names: list[str], lines: Iterable[bytes]) -> None:
    """Write lines as rows of an empty table, without asking the model."""
    fields = {each.column: each for each in columns_of(model)}
    into = [fields[name] for name in names]
    reads = [_reads(each) for each in into]
    rows = ([read(value) for read, value in zip(reads, json.loads(line), strict=True)] for line in lines)
    table, columns = _quoted(model._meta.db_table), ", ".join(map(_name, into))
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            places = ", ".join("%s" for _ in into)
            while some := list(islice(rows, AT_ONCE)):
                cursor.executemany(f"INSERT INTO {table} ({columns}) VALUES ({places})", some)


def _reads(column: Field[Any, Any]) -> Read:
    """How a line's value becomes what the open database takes for this column."""
    kind = _kind(column)
    if kind == "JSONField":
        return _json
    if kind == "DateTimeField":
        return _moment
    return _as_it_is


def _as_it_is(value: Any) -> Any:
    return value


def _json(value: Any) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False)


def _moment(value: str | None) -> object:
    at = None if value is None else datetime.fromisoformat(value).replace(tzinfo=UTC)
    return at if at is None or connection.vendor == "postgresql" else connection.ops.adapt_datetimefield_value(at)


def _kind(column: Field[Any, Any]) -> str:
    """What the column holds; of a foreign key, what it points at."""
    while isinstance(column, ForeignKey):
        column = column.target_field
    return column.get_internal_type()


def _name(column: Field[Any, Any]) -> str:
    return _quoted(str(column.column))


def _quoted(name: str) -> str:
    return connection.ops.quote_name(name)
