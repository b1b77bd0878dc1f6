"""How a transfer is told to a bank's app, and whether a phone reads what is drawn."""

import io
import re
from dataclasses import dataclass
from decimal import Decimal

import pytest
import zxingcpp
from djmoney.money import Money
from PIL import Image, ImageDraw

from clubdesk.paying import Code, PaidInto, payment_code

IBAN = "DE89370400440532013000"
CLUB = PaidInto("Bogenschützen Ried e. V.", iban=IBAN)
EUROS = Money(Decimal("126.00"), "EUR")


@dataclass
class Transfer:
    """What a payer's app makes of a code."""

    bic: str
    name: str
    iban: str
    euros: Decimal
    purpose: str
    structured: str
    unstructured: str


def transfer_of(code: str) -> Transfer:
    """Written from the guideline alone. Source: European Payments Council, EPC069-12, version 2.1, section 3.1:
    service tag, version, character set, identification, BIC, name, IBAN, amount, purpose, structured or unstructured
    remittance, information; each ends with a line feed or carriage return with line feed, the last with nothing.
    """
    assert len(code.encode("utf-8")) <= 331
    rows = re.split(r"\r\n|\n", code)
    assert 8 <= len(rows) <= 12
    rows += [""] * (12 - len(rows))
    tag, version, characters, kind, bic, name, iban, amount, purpose, structured, unstructured, told = rows
    assert (tag, version, characters, kind) == ("BCD", "002", "1", "SCT")
    assert re.fullmatch(r"|[A-Z]{6}[A-Z0-9]{2}([A-Z0-9]{3})?", bic)
    assert 1 <= len(name) <= 70
    assert re.fullmatch(r"[A-Z]{2}\d{2}[A-Z0-9]{11,30}", iban)
    assert int("".join(str(int(each, 36)) for each in iban[4:] + iban[:4])) % 97 == 1
    assert re.fullmatch(r"EUR[1-9]\d{0,8}(\.\d\d?)?|EUR0\.(0[1-9]|[1-9]\d?)", amount)
    assert re.fullmatch(r"[A-Z0-9]{0,4}", purpose)
    assert not (structured and unstructured)
    assert len(structured) <= 35
    assert len(unstructured) <= 140
    assert len(told) <= 70
    return Transfer(bic, name, iban, Decimal(amount[3:]), purpose, structured, unstructured)


@pytest.mark.parametrize("amount", ["0.01", "0.10", "7.00", "126.00", "999999999.99"])
def test_a_payers_app_reads_who_how_much_and_the_reference(amount):
    read = transfer_of(payment_code(CLUB, Money(Decimal(amount), "EUR"), "100016"))
    assert (read.name, read.iban, read.euros) == ("Bogenschützen Ried e. V.", IBAN, Decimal(amount))
    assert (read.bic, read.unstructured, read.structured) == ("", "100016", "")


def test_a_bic_stands_where_the_bank_asked_for_it():
    assert transfer_of(payment_code(PaidInto("Ried", iban=IBAN, bic="COBADEFFXXX"), EUROS, "1")).bic == "COBADEFFXXX"


def test_a_long_name_is_cut_and_no_code_is_longer_than_the_guideline_allows():
    assert transfer_of(payment_code(PaidInto("R" * 90, iban=IBAN), EUROS, "1")).name == "R" * 70
    assert payment_code(PaidInto("日" * 70, iban=IBAN), EUROS, "日" * 60) == ""


@pytest.mark.parametrize(
    ("account", "amount"),
    [
        (PaidInto("Reedbank Archers", bsb="012-003", number="4500123"), Money(7, "EUR")),
        (CLUB, Money(7, "AUD")),
        (CLUB, Money(0, "EUR")),
    ],
)
def test_there_is_no_payment_code_without_an_iban_or_euros_or_an_amount(account, amount):
    assert payment_code(account, amount, "100016") == ""


def as_picture(code: Code, side: int = 4) -> Image.Image:
    squares = code.squares
    picture = Image.new("L", (len(squares) * side, len(squares) * side), 255)
    draw = ImageDraw.Draw(picture)
    for down, row in enumerate(squares):
        for along, dark in enumerate(row):
            if dark:
                draw.rectangle((along * side, down * side, (along + 1) * side - 1, (down + 1) * side - 1), fill=0)
    return picture


LONGEST = payment_code(PaidInto("B" * 69 + "ü", iban=IBAN, bic="COBADEFFXXX"), EUROS, "1" * 140)


@pytest.mark.parametrize(
    "text", [payment_code(CLUB, EUROS, "100016"), LONGEST, "https://club.example/open/WzEsMSwxLCIvYWNjb3VudC8iXQ:1x:y/"]
)
def test_a_phone_reads_what_is_drawn_at_level_m(text):
    (found,) = zxingcpp.read_barcodes(as_picture(Code(text)))
    assert (found.text, found.ec_level, str(found.format)) == (text, "M", "QR Code")


def test_the_drawing_of_a_page_is_the_same_squares():
    """The path of the drawing is run through by hand: each dark run of a row is a stroke along its middle."""
    code = Code(payment_code(CLUB, EUROS, "100016"))
    view, path = (
        re.search(pattern, code.drawing)[1] for pattern in (r'viewBox="0 0 (\d+) \d+"', r'stroke="#000" d="([^"]+)"')
    )
    drawn = [[False] * int(view) for _ in range(int(view))]
    along, down = 0.0, 0.0
    for act, numbers in re.findall(r"([Mmh])([-\d. ]+)", path):
        steps = [float(each) for each in re.findall(r"-?\d*\.?\d+", numbers)]
        if act == "h":
            for dark in range(int(along), int(along + steps[0])):
                drawn[int(down)][dark] = True
            along += steps[0]
        else:
            along, down = (steps[0], steps[1]) if act == "M" else (along + steps[0], down + steps[1])
    assert drawn == code.squares
    assert "style=" not in code.drawing, "no page of ours allows styles in its text"
    picture = io.BytesIO()
    as_picture(code).save(picture, "PNG")
    assert zxingcpp.read_barcodes(Image.open(picture))[0].text == code.text
