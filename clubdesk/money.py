"""Amounts of money: two decimals, the book's one currency, never float."""

import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from typing import TYPE_CHECKING

from django import forms
from django.conf import settings
from django.utils.formats import number_format
from djmoney.models.fields import CurrencyField, MoneyField
from djmoney.money import Money

from clubdesk.errors import Refused

CENT = Decimal("0.01")
FIVE_CENTS = Decimal("0.05")
GROUPED = re.compile(r"-?\d{1,3}(,\d{3})+(\.\d*)?")
LARGEST = Decimal("9999999999.99")


class BookCurrencyField(CurrencyField):
    """The currency beside an amount; which one is a setting, so no migration depends on it."""

    def deconstruct(self):
        name, path, args, kwargs = super().deconstruct()
        kwargs.pop("default", None)
        return name, path, args, kwargs


class AmountField(MoneyField):
    """An amount in the book's currency; all amounts of a model share its `currency` column."""

    if TYPE_CHECKING:
        _pyi_private_set_type: Money | int  # type: ignore[assignment]
        _pyi_private_get_type: Money  # type: ignore[assignment]

    def __init__(self, *args, **kwargs):
        kwargs.update(
            max_digits=12,
            decimal_places=2,
            default_currency=settings.CLUB_CURRENCY,
            currency_choices=((settings.CLUB_CURRENCY, settings.CLUB_CURRENCY),),
            currency_field_name="currency",
        )
        super().__init__(*args, **kwargs)

    def deconstruct(self):
        name, path, args, kwargs = super().deconstruct()
        for key in (
            "max_digits",
            "decimal_places",
            "default_currency",
            "currency_choices",
            "currency_field_name",
        ):
            kwargs.pop(key, None)
        if isinstance(kwargs.get("default"), Money):
            kwargs["default"] = kwargs["default"].amount
        return name, path, args, kwargs

    def add_currency_field(self, cls, name):
        field = BookCurrencyField(price_field=self, max_length=3, default=settings.CLUB_CURRENCY, editable=False)
        field.creation_counter = self.creation_counter - 1
        cls.add_to_class("currency", field)
        self._currency_field = field

    def contribute_to_class(self, cls, name):  # type: ignore[override]
        super().contribute_to_class(cls, name)
        # Queries compare plain decimals in the one currency; the package's own managers are not wanted.
        del cls._meta.has_money_field

    def formfield(self, **kwargs):
        field = AmountFormField(required=not self.blank, label=self.verbose_name.capitalize(), help_text=self.help_text)
        if self._has_default:
            field.initial = self.default.amount
        return field


class AmountFormField(forms.DecimalField):
    """A typed amount; gives `Money`, or None where blank is allowed."""

    sentences = {
        "required": "Write an amount, like 12.50.",
        "invalid": "That is not an amount; write it like 12.50.",
        "min_value": "An amount is not negative; write it like 12.50.",
        "max_decimal_places": "Write whole cents, like 12.50.",
        "max_digits": "That is more than an amount can be.",
        "max_whole_digits": "That is more than an amount can be.",
    }

    def __init__(self, **kwargs):
        kwargs.setdefault("max_digits", 12)
        kwargs.setdefault("decimal_places", 2)
        kwargs.setdefault("min_value", Decimal(0))
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        kwargs.setdefault("error_messages", self.sentences)
        super().__init__(**kwargs)

    def prepare_value(self, value):
        return value.amount if isinstance(value, Money) else value

    def to_python(self, value):
        """Digits and a point, and commas as the site prints them: “1e3” and “12,50” are slips, not amounts."""
        if isinstance(value, str) and GROUPED.fullmatch(value.strip()):
            value = value.replace(",", "")
        if isinstance(value, str) and set(value.strip()) - set("0123456789.-"):
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        return super().to_python(value)

    def clean(self, value):
        amount = super().clean(value)
        return None if amount is None else as_amount(amount)

    def has_changed(self, initial, data):
        return super().has_changed(self.prepare_value(initial), data)


def as_amount(value: Money | Decimal | int | str) -> Money:
    """`value` as an amount of the book, or Refused: another currency, a float, more than two decimals."""
    if isinstance(value, Money):
        if value.currency.code != settings.CLUB_CURRENCY:
            raise Refused(f"This book is kept in {settings.CLUB_CURRENCY}; {value.currency} cannot be used.")
        value = value.amount
    if isinstance(value, float):
        raise Refused("Money is never a float; give a decimal amount.")
    try:
        amount = Decimal(value)
    except InvalidOperation:
        raise Refused(f"“{value}” is not an amount; write it like 12.50.") from None
    if not amount.is_finite() or abs(amount) > LARGEST:
        raise Refused(f"{amount} is outside what an amount can be.")
    if amount != amount.quantize(CENT):
        raise Refused(f"{amount} has more than two decimals; write whole cents.")
    return Money(amount.quantize(CENT), settings.CLUB_CURRENCY)


def positive(value: Money | Decimal | int | str, what: str = "The amount") -> Money:
    """`value` as an amount above nil, or Refused."""
    amount = as_amount(value)
    if amount.amount <= 0:
        raise Refused(f"{what} must be more than nil.")
    return amount


def nil() -> Money:
    return Money(Decimal("0.00"), settings.CLUB_CURRENCY)


def total(amounts: Iterable[Money]) -> Money:
    return sum(amounts, nil())


def half_up(value: Decimal) -> Decimal:
    """Whole cents; half a cent goes up (away from nil)."""
    return value.quantize(CENT, rounding=ROUND_HALF_UP)


def gst_in(value: Money) -> Money:
    """The GST in a taxable price: one eleventh, half a cent up.

    Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth), s 9-70 and s 9-90.
    """
    return as_amount(half_up(value.amount / 11))


def cash_rounded(value: Money) -> Money:
    """What is handed over in cash for a total of `value`: the nearest five cents.

    Source: Australian Competition and Consumer Commission, guideline on the withdrawal of one and two cent
    coins. The total is rounded, not the items; card and transfer payments are not rounded.
    """
    fives = (value.amount / FIVE_CENTS).quantize(Decimal(1), rounding=ROUND_HALF_UP)
    return as_amount(fives * FIVE_CENTS)


def in_pieces(value: Money) -> dict[int, int]:
    """The fewest notes and coins that come to `value`, as {cents: number}; Refused where no coins do."""
    left, pieces = int(value.amount * 100), {}
    for cents in sorted(settings.CASH_PIECES, reverse=True):
        pieces[cents], left = divmod(left, cents)
    if left:
        raise Refused(f"No notes and coins come to {shown(value)}.")
    return {cents: number for cents, number in pieces.items() if number}


def shown(value: Money | Decimal | None) -> str:
    """An amount as the screens print it, such as "1,234.50"; a minus sign stands before the figure."""
    if value is None:
        return ""
    amount = value.amount if isinstance(value, Money) else value
    return number_format(amount.quantize(CENT), 2, use_l10n=True, force_grouping=True).replace("-", "−")


def plain(value: Money | Decimal) -> str:
    """An amount for a file: digits, a point and two decimals, such as "-1234.50"."""
    amount = value.amount if isinstance(value, Money) else value
    return f"{amount.quantize(CENT):f}"
