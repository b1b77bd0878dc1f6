"""What Django's lists need beside: cells that know their heading, so that they fold on a phone, and files."""

import re
from collections.abc import Iterator, Sequence
from typing import Any

from django import template
from django.contrib.admin.views.main import ChangeList
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

from clubdesk.screens.exporting import ASKED

register = template.Library()
OPENING = re.compile(r"^<(t[dh])")
NOTHING = re.compile(r">-</t[dh]>$")
MOST_FOLDED = 11
"""Columns, a box to tick among them, up to which a list folds; a wider one slides beside its first column."""


@register.filter
def headed(row: Sequence[Any], headers: Sequence[dict[str, Any]]) -> Iterator[SafeString]:
    """The cells of a row as Django made them, each with its heading and its part in the table."""
    for cell, header in zip(row, headers, strict=True):
        text = "" if "checkbox" in str(header.get("class_attrib", "")) else str(header["text"]).capitalize()
        part = "rowheader" if cell.startswith("<th") else "cell"
        more = " data-nothing" if NOTHING.search(cell) else ""
        opening = rf'<\1 role="{part}" data-label="{conditional_escape(text)}"{more}'
        yield mark_safe(OPENING.sub(opening, str(cell), count=1))  # noqa: S308


@register.filter
def as_file(changes: ChangeList, kind: str) -> str:
    """The address at which a list, narrowed and ordered as it is, comes as a file."""
    return str(changes.get_query_string({ASKED: kind}))


@register.filter
def folds(headers: Sequence[Any]) -> bool:
    return len(headers) <= MOST_FOLDED
