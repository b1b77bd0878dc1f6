"""Amounts are understood as people type them, and what could be two amounts is asked again."""

from decimal import Decimal

import pytest
from django import forms
from hypothesis import given
from hypothesis import strategies as st

from clubdesk.errors import Refused
from clubdesk.money import AmountFormField, as_amount, read_amount, shown


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("85", "85"), ("$85", "85"), ("85.00", "85"),
        ("1,085.00", "1085"), ("1,085", "1085"), (" $ 1,085.5 ", "1085.5"),
        ("AUD 85", "85"), ("85 AUD", "85"), ("85$", "85"), ("1 085.00", "1085"), (".50", "0.5"), ("85.", "85"),
        ("-12.50", "-12.5"), ("−$12.50", "-12.5"), ("$-12.50", "-12.5"), ("(12.50)", "-12.5"), ("12.50-", "-12.5"),
        ("-0", "0"), ("12\u00a0345.60", "12345.6"),
    ],
)  # fmt: skip
def test_an_amount_is_read_as_it_is_typed(typed, amount):
    assert read_amount(typed) == Decimal(amount)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("85,5", "“85,5” has a comma where a point parts the cents; write it like 85.50."),
        ("85,50", "“85,50” has a comma where a point parts the cents; write it like 85.50."),
        ("1.085", "Write whole cents, like 12.50: “1.085” could be 1,085.00 or parts of a cent."),
        ("1.085.000", "Write whole cents, like 12.50: “1.085.000” could be 1,085,000.00 or parts of a cent."),
        ("12.3456", "Write whole cents, like 12.50: “12.3456” has parts of a cent."),
        ("1,08", "“1,08” has a comma where a point parts the cents; write it like 1.08."),
        ("10,85.00", "That is not an amount: “10,85.00”. Write it like 12.50."),
        ("eighty", "That is not an amount: “eighty”. Write it like 12.50."),
        ("1e3", "That is not an amount: “1e3”. Write it like 12.50."),
        ("--5", "That is not an amount: “--5”. Write it like 12.50."),
        ("€85", "That is not an amount: “€85”. Write it like 12.50."),
        ("", "That is not an amount: “”. Write it like 12.50."),
    ],
)
def test_what_could_be_two_amounts_or_none_is_refused_in_one_sentence(typed, sentence):
    with pytest.raises(Refused) as refusal:
        read_amount(typed)
    assert refusal.value.sentence == sentence
    with pytest.raises(forms.ValidationError) as said:
        AmountFormField().clean(typed)
    assert said.value.messages == [sentence if typed else "Write an amount, like 12.50."]


def test_a_book_in_another_currency_reads_its_own_sign(settings):
    settings.CLUB_CURRENCY = "EUR"
    assert read_amount("€85.00") == 85
    with pytest.raises(Refused, match="not an amount"):
        read_amount("$85.00")


@given(st.decimals("-99999999.99", "99999999.99", places=2))
def test_whatever_the_pages_print_can_be_typed_back(figure):
    assert read_amount(shown(figure)) == figure


def test_each_form_understands_it():
    assert AmountFormField().clean("$1,085.00") == as_amount("1085.00")
    assert AmountFormField(required=False).clean("  ") is None
