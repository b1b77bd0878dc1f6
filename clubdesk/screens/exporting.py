"""A list as somebody has it before them, narrowed and in its order, as a file: all its pages, the columns it shows."""

import io
import re
from collections.abc import Callable, Iterator
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.contrib.admin.utils import label_for_field, lookup_field
from django.contrib.admin.views.main import ChangeList
from django.db import models
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.html import strip_tags
from djmoney.money import Money
from openpyxl import Workbook

from clubdesk import clock, handing
from clubdesk.screens.tables import Figure
from clubdesk.sheets.cells import safe
from clubdesk.tables import RISKY, Column, Table, write_csv

ASKED = "as"
"""What in the address of a list asks for it as a file: “csv” or “xlsx”."""
CSV = "csv"
KINDS = {CSV: handing.CSV, "xlsx": handing.XLSX}
AT_ONCE = 500


def as_file(request: HttpRequest, changes: ChangeList, kind: str) -> HttpResponse:
    """The list that whoever asks may look at, as a file of that kind."""
    return file_of(request, table_of(changes), kind)


def file_of(request: HttpRequest, table: Table[Any], kind: str) -> HttpResponse:
    """A table as a file of that kind, under its own title."""
    name = f"{table.title.replace(' ', '-')}-{clock.today().isoformat()}.{kind}"
    content = _csv(table) if kind == CSV else _workbook(table)
    what = f"exported the list of {table.title}"
    return handing.file_answer(request, content, kind=KINDS[kind], name=name, what=what, rows=len(table.rows))


def table_of(changes: ChangeList) -> Table[models.Model]:
    """Its rows, all pages, under the columns that it shows."""
    names = [name for name in changes.list_display if name != "action_checkbox"]
    columns = {str(name): Column(_title(changes, name), _value(changes, name)) for name in names}
    rows = list(changes.queryset.iterator(chunk_size=AT_ONCE))
    return Table(str(changes.opts.verbose_name_plural), columns, rows)


def _title(changes: ChangeList, name: Any) -> str:
    title = label_for_field(name, changes.model, model_admin=changes.model_admin)
    return str(changes.opts.verbose_name) if name == "__str__" else str(title)


def _value(changes: ChangeList, name: Any) -> Callable[[models.Model], object]:
    return lambda row: _plain(row, *lookup_field(name, row, changes.model_admin)[::2])


def _plain(row: models.Model, field: Any, value: object) -> object:
    """What a cell holds, without what only makes it look right."""
    if isinstance(value, Figure):
        return value.amount if value.amount is not None else strip_tags(value)
    if field is not None and getattr(field, "flatchoices", None):
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return timezone.localtime(value).replace(tzinfo=None, microsecond=0)
    if value is None or isinstance(value, str):
        return re.sub(r"\s+", " ", strip_tags(value or "")).strip()
    return value if not isinstance(value, models.Model) else str(value)


def _csv(table: Table[Any]) -> bytes:
    file = io.StringIO()
    file.write("\ufeff")  # so that spreadsheets read names with accents
    write_csv(table, file)
    return file.getvalue().encode()


def _workbook(table: Table[Any]) -> bytes:
    book, file = Workbook(write_only=True), io.BytesIO()
    sheet = book.create_sheet(table.title[:31].capitalize())
    sheet.freeze_panes = "A2"
    sheet.append([column.title.capitalize() for column in table.headings])
    for row in table.rows:
        sheet.append(list(_cells(table, row)))
    book.save(file)
    return file.getvalue()


def _cells(table: Table[Any], row: Any) -> Iterator[object]:
    for column in table.headings:
        value = column.value(row)
        if isinstance(value, Money):
            yield value.amount
        elif isinstance(value, int | Decimal | date):
            yield value
        else:
            text = safe(str(value))
            yield f"'{text}" if text.startswith(RISKY) else text
