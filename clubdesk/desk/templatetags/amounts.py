"""Template filters for amounts."""

from decimal import Decimal
from typing import Any

from django import template
from djmoney.money import Money

from clubdesk.money import shown, sign
from clubdesk.screens.tables import dialled as digits_of

register = template.Library()


@register.filter
def amount(value: Any) -> str:
    """An amount as the screens print it."""
    return shown(value)


@register.simple_tag
def money_sign() -> str:
    """What amounts begin with, for a script that writes them."""
    return sign()


@register.filter
def dialled(phone: str) -> str:
    """A phone as its link dials it."""
    return digits_of(phone)


@register.filter
def is_amount(value: Any) -> bool:
    return isinstance(value, Money | Decimal)


@register.filter
def cell(row: Any, index: int) -> Any:
    """The cell of a row at `index`, or None where the row is shorter."""
    return row[index] if index < len(row) else None
