"""Small tables and links on a document's page, and columns of lists."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol, cast

from django.contrib import admin
from django.db import models
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from djmoney.money import Money

from clubdesk.money import shown


@dataclass(frozen=True)
class Section:
    """A small table on a document's page; a cell is text, an amount (set to the right), a `Link` or a `Bar`."""

    title: str
    columns: Sequence[str]
    rows: Sequence[Sequence[object]]
    empty: str = "None yet."
    note: str = ""


@dataclass(frozen=True)
class Link:
    text: str
    url: str


@dataclass(frozen=True)
class Bar:
    """A part of a whole, drawn as a bar with its figures beside it."""

    part: int
    whole: int

    @property
    def percent(self) -> int:
        return round(100 * self.part / self.whole) if self.whole else 0


def page_of(document: models.Model) -> str:
    meta = document._meta
    return reverse(f"admin:{meta.app_label}_{meta.model_name}_change", args=[document.pk])


def link_to(document: models.Model, text: str = "") -> Link:
    return Link(text or str(document), page_of(document))


def dialled(phone: str) -> str:
    """What of a phone as it is written is dialled."""
    return "".join(each for each in phone if each.isdigit() or each == "+")


def phone_link(phone: str) -> Link | str:
    """A phone that is rung by a tap; a dash where there is none."""
    return Link(phone, f"tel:{dialled(phone)}") if dialled(phone) else phone or "–"


def add_page_of(model: type[models.Model]) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_add")


class HasAmount(Protocol):
    """A list column that prints an amount."""

    short_description: str

    def __call__(self, screen: object, row: models.Model) -> str: ...


def amount_column(name: str, label: str, sorts: bool = True) -> HasAmount:
    """A list column that prints the amount attribute `name`, set to the right; `sorts` where it is a field."""

    @admin.display(description=label, ordering=name if sorts else None)
    def column(screen: object, row: models.Model) -> str:
        return as_figure(getattr(row, name))

    column.__name__ = f"{name}_column"
    return cast(HasAmount, column)


class Figure(SafeString):
    """An amount as a list shows it; `amount` is the same for a file, None where words tell what it is."""

    amount: Money | Decimal | None = None


def as_figure(value: Money | Decimal | None, before: str = "") -> str:
    """An amount marked as one, so that the page sets it to the right; words may stand `before` it."""
    figure = Figure(format_html('<span class="figure">{}{}</span>', before, shown(value)))
    figure.amount = None if before else value
    return figure
