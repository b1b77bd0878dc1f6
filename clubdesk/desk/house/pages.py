"""Pages of verbs: each has an address of its own, and its form asks for just what its verb takes."""

import inspect
import typing
import uuid
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from types import UnionType

from django import forms
from django.contrib import admin
from django.db import models
from djmoney.money import Money

from clubdesk.money import AmountFormField
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.verbs import AnyButton, AnyPage, VerbPage

GIVEN = ("by", "on", "key")
"""Parameters that a page gives by itself."""
SIMPLE: tuple[tuple[type[forms.Field], type], ...] = (
    (AmountFormField, Money),
    (forms.DecimalField, Decimal),
    (forms.DateField, date),
    (forms.UUIDField, uuid.UUID),
    (forms.BooleanField, bool),
    (forms.IntegerField, int),
    (forms.FileField, object),
    (forms.CharField, str),
)


def screens() -> Iterator[RoomAdmin[models.Model]]:
    return (screen for screen in admin.site._registry.values() if isinstance(screen, RoomAdmin))


def pages_of(screen: RoomAdmin[models.Model]) -> Iterator[AnyPage]:
    """Every verb page of a screen."""
    if screen.add_page:
        yield screen.add_page
    yield from (page for page in screen.all_pages if isinstance(page, VerbPage))
    yield from screen.all_list_pages


def buttons() -> Iterator[AnyButton]:
    """Every verb page and link of the site."""
    for screen in screens():
        yield from pages_of(screen)
        yield from (page for page in screen.all_pages if not isinstance(page, VerbPage))


def every_page_has_its_own_address() -> Iterator[str]:
    for screen in screens():
        slugs = Counter(page.slug for page in pages_of(screen) if page is not screen.add_page)
        for slug, times in slugs.items():
            if times > 1 or not slug:
                yield f"{times} pages of {screen.named_as} have the slug “{slug}”: give each one of its own."


def every_form_fits_its_verb() -> Iterator[str]:
    for screen in screens():
        for page in pages_of(screen):
            yield from (f"The page “{page.title}” of {screen.named_as}: {fault}" for fault in misfits(page))


def misfits(page: AnyPage) -> Iterator[str]:
    """Where a page's form and its verb's parameters differ; a page that arranges them by itself is not looked at."""
    if type(page).perform is not VerbPage.perform or type(page).arguments is not VerbPage.arguments:
        return
    takes = page.of_verb.parameters
    hints = typing.get_type_hints(inspect.unwrap(page.of_verb.function))
    asked = {name: field for name, field in page.form_class.base_fields.items() if name not in page.asks_only}
    for name, field in asked.items():
        if name not in takes and name != "key":
            yield f"its form asks for {name}, which {page.of_verb.name} does not take."
        elif name in hints and not _fits(field, hints[name]):
            yield f"its form gives {name} as {type(field).__name__}, and {page.of_verb.name} takes {hints[name]}."
    for name, parameter in takes.items():
        given = {*asked, *page.form_class.gives, *GIVEN, page.target}
        if parameter.default is inspect.Parameter.empty and name not in given:
            yield f"{page.of_verb.name} needs {name}, which its form does not ask for."


def _fits(field: forms.Field, hint: object) -> bool:
    plain = without_none(hint)
    if isinstance(field, forms.ModelMultipleChoiceField | forms.MultipleChoiceField):
        return isinstance(typing.get_origin(plain), type) and issubclass(typing.get_origin(plain), Iterable)  # type: ignore[arg-type]
    if isinstance(field, forms.ModelChoiceField):
        return field.queryset is not None and plain is field.queryset.model
    if isinstance(field, forms.ChoiceField):
        return True
    wanted = next((wanted for kind, wanted in SIMPLE if isinstance(field, kind)), object)
    return wanted is object or (isinstance(plain, type) and issubclass(plain, wanted))


def without_none(hint: object) -> object:
    if typing.get_origin(hint) in (typing.Union, UnionType):
        parts = [part for part in typing.get_args(hint) if part is not type(None)]
        return parts[0] if len(parts) == 1 else hint
    return hint
