"""Template filters for amounts."""

from decimal import Decimal
from typing import Any

from django import template
from djmoney.money import Money

from clubdesk.money import shown

register = template.Library()


@register.filter
def amount(value: Any) -> str:
    """An amount as the screens print it."""
    return shown(value)


@register.filter
def is_amount(value: Any) -> bool:
    return isinstance(value, Money | Decimal)
