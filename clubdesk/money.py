"""Amounts of money: whole cents in the database, `Money` of the book's one currency in code, never float."""

import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from functools import cache
from string import ascii_letters
from typing import TYPE_CHECKING, Any

from django import forms
from django.conf import settings
from django.db import models
from django.db.models.expressions import Combinable, register_combinable_fields
from django.db.models.functions import Coalesce
from django.utils.formats import number_format
from djmoney.money import Money
from moneyed.l10n import format_money

from clubdesk.errors import Refused

CENT = Decimal("0.01")
FIVE_CENTS = Decimal("0.05")
WHOLE = re.compile(r"(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d{0,2})?|\.\d{1,2}")
MINUS = ("-", "−", "–")
LARGEST = Decimal("9999999999.99")


class Figure(models.Field[Any, Any]):
    """Whole cents of the book's one currency in a signed BIGINT, read as a `Decimal` in the currency's unit.

    The type of sums and differences that a query reckons for many rows; what is compared with it is `Money`, or 0.
    It is no IntegerField, so that arithmetic with plain numbers, which would be cents, is refused by Django.
    """

    def get_internal_type(self) -> str:
        return "BigIntegerField"

    def from_db_value(self, value: int | None, expression: object, connection: object) -> Any:
        return None if value is None else decimal_of(value)

    def get_prep_value(self, value: Any) -> Any:
        value = super().get_prep_value(value)
        return None if value is None else cents_of(value)

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        value = value if prepared else self.get_prep_value(value)
        return connection.ops.adapt_integerfield_value(value, self.get_internal_type())


class Cents(Figure):
    """An amount's column: whole cents, signed; `Money` in code, forms and templates."""

    if TYPE_CHECKING:
        _pyi_private_set_type: Money
        _pyi_private_get_type: Money

    def from_db_value(self, value: int | None, expression: object, connection: object) -> Money | None:
        return None if value is None else from_cents(value)

    def to_python(self, value: Money | str | int | None) -> Money | None:
        """`Money`, or what a dump of the data holds: the currency's unit as text, such as "126.00"."""
        if value is None or isinstance(value, Money | str):
            return None if value is None else as_amount(value)
        return from_cents(cents_of(value))

    def value_to_string(self, obj: models.Model) -> str:
        value: Any = self.value_from_object(obj)
        return "" if value is None else plain(value)

    def formfield(self, **kwargs: Any) -> "AmountFormField":
        field = AmountFormField(required=not self.blank, label=self.verbose_name.capitalize(), help_text=self.help_text)
        if self.has_default():
            field.initial = self.get_default().amount
        return field


for _connector in (Combinable.ADD, Combinable.SUB):
    register_combinable_fields(Cents, _connector, Cents, Cents)
    register_combinable_fields(Figure, _connector, Figure, Figure)


def figure_of(column: str) -> models.ExpressionWrapper[models.F]:
    """An amount column as a figure: Decimal in the currency's unit, for queries that read very many rows."""
    return models.ExpressionWrapper(models.F(column), output_field=Figure())


def in_cents(column: str) -> models.ExpressionWrapper[models.F]:
    """An amount column as the whole cents that the database gives, untouched, where each of very many rows costs."""
    return models.ExpressionWrapper(models.F(column), output_field=models.Field())


def sum_of(column: str, where: models.Q | None = None) -> Coalesce:
    """A query's sum of an amount column as a figure (Decimal in the currency's unit), zero where there is no row."""
    return Coalesce(models.Sum(column, filter=where), models.Value(0), output_field=Figure())


def in_all(rows: models.QuerySet[Any], column: str = "amount") -> Decimal:
    """What an amount column of the rows comes to, as a figure."""
    figure: Decimal = rows.aggregate(figure=sum_of(column))["figure"]
    return figure


class AmountFormField(forms.DecimalField):
    """A typed amount; gives `Money`, or None where blank is allowed."""

    sentences = {
        "required": "Write an amount, like 12.50.",
        "min_value": "An amount is not negative; write it like 12.50.",
        "max_decimal_places": "Write whole cents, like 12.50.",
        "max_digits": "That is more than an amount can be.",
        "max_whole_digits": "That is more than an amount can be.",
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_digits", 12)
        kwargs.setdefault("decimal_places", 2)
        kwargs.setdefault("min_value", Decimal(0))
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        kwargs.setdefault("error_messages", self.sentences)
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        return value.amount if isinstance(value, Money) else value

    def to_python(self, value: Any) -> Any:
        """What was typed, as `read_amount` understands it."""
        if isinstance(value, str):
            try:
                value = read_amount(value) if value.strip() else None
            except Refused as refusal:
                raise forms.ValidationError(refusal.sentence, code="invalid") from None
        return super().to_python(value)

    def clean(self, value: Any) -> Any:
        amount = super().clean(value)
        return None if amount is None else as_amount(amount)

    def has_changed(self, initial: Any, data: Any) -> bool:
        return super().has_changed(self.prepare_value(initial), data)


def read_amount(text: str) -> Decimal:
    """An amount as people type or print it, as a decimal: 85, $85, 85.00, 1,085.00, AUD 85; below zero -85, (85), 85-.

    A point parts the cents and commas part thousands, as on every page here. Raises Refused in one sentence for what
    is no amount, has parts of a cent, or could be two amounts, as 85,5 and 1.085.
    """
    typed = "".join(text.split())
    inside = typed[1:-1] if typed.startswith("(") and typed.endswith(")") else typed
    below, inside = inside != typed, _without_sign(inside)
    if inside[:1] in MINUS or inside[-1:] in MINUS:
        below, inside = not below, _without_sign(inside[1:] if inside[:1] in MINUS else inside[:-1])
    if WHOLE.fullmatch(inside):
        figure = Decimal(inside.replace(",", ""))
        return -figure if below and figure else figure
    raise Refused(_why_no_amount(text.strip()[:30], inside))


def _without_sign(text: str) -> str:
    """Without the sign of the book's currency or its code, before or behind."""
    for mark in (settings.CLUB_CURRENCY, sign().strip()):
        text = text.removeprefix(mark).removesuffix(mark)
    return text


def _why_no_amount(typed: str, digits: str) -> str:
    if re.fullmatch(r"\d+,\d{1,2}", digits):
        meant = Decimal(digits.replace(",", "."))
        return f"“{typed}” has a comma where a point parts the cents; write it like {meant:.2f}."
    if re.fullmatch(r"\d{1,3}(\.\d{3})+", digits):
        whole = f"{int(digits.replace('.', '')):,}.00"
        return f"Write whole cents, like 12.50: “{typed}” could be {whole} or parts of a cent."
    if re.fullmatch(r"[\d,]+\.\d{3,}", digits):
        return f"Write whole cents, like 12.50: “{typed}” has parts of a cent."
    return f"That is not an amount: “{typed}”. Write it like 12.50."


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


def cents_of(value: Money | int) -> int:
    """`value` in whole cents. The literal 0 is zero; TypeError for any other number, which could be cents or dollars.

    Raises Refused as `as_amount` does.
    """
    if isinstance(value, Money):
        return int(as_amount(value).amount.scaleb(2))
    if type(value) is int and value == 0:
        return 0
    raise TypeError(f"An amount is Money, not {value!r}.")


def decimal_of(cents: int) -> Decimal:
    """Whole cents as a figure in the currency's unit, with two decimals."""
    return Decimal(cents).scaleb(-2)


def from_cents(cents: int) -> Money:
    """Whole cents as an amount of the book."""
    return Money(decimal_of(cents), settings.CLUB_CURRENCY)


def positive(value: Money | Decimal | int | str, what: str = "The amount") -> Money:
    """`value` as an amount above nil, or Refused."""
    amount = as_amount(value)
    if amount.amount <= 0:
        raise Refused(f"{what} must be more than 0.00.")
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
    left, pieces = cents_of(value), {}
    for cents in sorted(settings.CASH_PIECES, reverse=True):
        pieces[cents], left = divmod(left, cents)
    if left:
        raise Refused(f"No notes and coins come to {shown(value)}.")
    return {cents: number for cents, number in pieces.items() if number}


@cache
def sign_of(currency: str) -> str:
    """What amounts of a book's one currency begin with: "$" for any dollar, "CHF " where it has no sign."""
    known: str = format_money(Money(0, currency), locale="en", format="¤")
    return f"{known} " if known.isalpha() else known.lstrip(ascii_letters)


def sign() -> str:
    """The sign of the book's currency."""
    return sign_of(settings.CLUB_CURRENCY)


def shown(value: Money | Decimal | None) -> str:
    """An amount as all pages, letters and papers print it, such as "$1,234.50"; a minus stands before its sign."""
    if value is None:
        return ""
    amount = (value.amount if isinstance(value, Money) else value).quantize(CENT)
    figure = number_format(abs(amount), 2, use_l10n=True, force_grouping=True)
    return f"{'−' if amount < 0 else ''}{sign()}{figure}"


def plain(value: Money | Decimal) -> str:
    """An amount for a file: digits, a point and two decimals, such as "-1234.50"."""
    amount = value.amount if isinstance(value, Money) else value
    return f"{amount.quantize(CENT):f}"


def in_units(cents: int) -> str:
    """The same of whole cents, for very many of them."""
    units, rest = divmod(abs(cents), 100)
    return f"{'-' if cents < 0 else ''}{units}.{rest:02}"
