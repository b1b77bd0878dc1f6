"""The Direct Entry credit file, read back by a parser of its own that was written from the published layout.

Source: the layout in the published facts, as Australian banks publish it: records of 120 characters ended by CR LF.
"""

from dataclasses import dataclass
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clubdesk.bank.directentry import Payment, Sender, in_file, write
from clubdesk.errors import Refused

ON = date(2026, 9, 14)
CLUB = Sender("012-003", "4500123", "QUB", "REEDBANK ARCHERS INC", "301500", "REEDBANK ARCHERS")
CHARACTERS = set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 ()&',-./+$!%*#=:?[]_^@")


@dataclass
class Read:
    head: dict
    details: list
    foot: dict


def cut(record, **places):
    """The fields of a record by their first and last position, counted from 1 as the layout counts."""
    return {name: record[first - 1 : last] for name, (first, last) in places.items()}


def read(content):
    """What the layout says of each position; fails where the file breaks it."""
    lines = content.split(b"\r\n")
    assert lines.pop() == b""
    records = [line.decode("ascii") for line in lines]
    for record in records:
        assert len(record) == 120
        assert set(record) <= CHARACTERS
    first, *middle, last = records
    head = cut(first, type=(1, 1), b1=(2, 18), seq=(19, 20), bank=(21, 23), b2=(24, 30), user=(31, 56),
               id=(57, 62), description=(63, 74), day=(75, 80), b3=(81, 120))  # fmt: skip
    assert (head["type"], head["seq"]) == ("0", "01")
    assert (head["b1"] + head["b2"] + head["b3"]).strip() == ""
    assert head["id"].isdigit()
    foot = cut(last, type=(1, 1), bsb=(2, 8), b1=(9, 20), net=(21, 30), credit=(31, 40), debit=(41, 50),
               b2=(51, 74), count=(75, 80), b3=(81, 120))  # fmt: skip
    assert (foot["type"], foot["bsb"]) == ("7", "999-999")
    assert (foot["b1"] + foot["b2"] + foot["b3"]).strip() == ""
    details = []
    for record in middle:
        row = cut(record, type=(1, 1), bsb=(2, 8), account=(9, 17), indicator=(18, 18), code=(19, 20),
                  cents=(21, 30), title=(31, 62), reference=(63, 80), trace=(81, 87), traced=(88, 96),
                  remitter=(97, 112), tax=(113, 120))  # fmt: skip
        assert row["type"] == "1"
        assert row["bsb"][3] == "-"
        assert (row["bsb"][:3] + row["bsb"][4:]).isdigit()
        assert row["account"] == row["account"].strip().rjust(9)
        assert row["indicator"] == " "
        assert row["title"] == row["title"].strip().ljust(32)
        assert row["reference"] == row["reference"].strip().ljust(18)
        assert row["tax"] == "00000000"
        details.append({**{name: value.strip() for name, value in row.items()}, "cents": int(row["cents"])})
    credit = sum(row["cents"] for row in details if row["code"] in ("50", "53"))
    debit = sum(row["cents"] for row in details if row["code"] == "13")
    assert int(foot["credit"]) == credit
    assert int(foot["debit"]) == debit
    assert int(foot["net"]) == abs(credit - debit)
    assert int(foot["count"]) == len(details)
    return Read(head, details, foot)


def pay(title="Ida Mirabar", cents=6000, **more):
    known = {"bsb": "082-902", "account": "123456", "reference": "ENTRY FEE 1"}
    return Payment(title=title, cents=cents, **known | more)


def test_the_first_record_says_who_pays_and_when():
    head = read(write(CLUB, [pay()], description="RUN 12", on=ON)).head
    assert head["bank"] == "QUB"
    assert head["user"].rstrip() == "REEDBANK ARCHERS INC"
    assert head["id"] == "301500"
    assert head["description"].rstrip() == "RUN 12"
    assert head["day"] == "140926"


def test_each_payee_has_a_record_and_the_last_record_the_totals():
    found = read(write(CLUB, [pay(), pay("Bea Quoll", 12345, account="987654321")], description="RUN 1", on=ON))
    first, second = found.details
    assert (first["bsb"], first["account"], first["code"], first["cents"]) == ("082-902", "123456", "50", 6000)
    assert (first["trace"], first["traced"], first["remitter"]) == ("012-003", "4500123", "REEDBANK ARCHERS")
    assert second["account"] == "987654321"
    assert (found.foot["net"], found.foot["credit"], found.foot["debit"]) == ("0000018345", "0000018345", "0000000000")


def test_where_the_bank_wants_it_the_file_ends_with_a_debit_of_the_clubs_account():
    balanced = Sender(**{**CLUB.__dict__, "balanced": True})
    found = read(write(balanced, [pay(), pay()], description="RUN 1", on=ON))
    assert [row["code"] for row in found.details] == ["50", "50", "13"]
    assert found.details[-1]["account"] == "4500123"
    assert (found.foot["net"], found.foot["credit"], found.foot["debit"]) == ("0000000000", "0000012000", "0000012000")


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("Zoë O’Grady-Müller", "Zoe O'Grady-Muller"),
        ("Łukasz Strzałkowski", "Lukasz Strzalkowski"),
        ("Søren Ærø", "Soren Aero"),
        ("Mirabar, Ida & Tom", "Mirabar, Ida & Tom"),
        ("Nguyễn Thị Ánh", "Nguyen Thi Anh"),
        ("Maximiliana Quillfeather-Featherstonehaugh", "Maximiliana Quillfeather-Feather"),
        ('The "Reed" family; pool', "The Reed family pool"),
        ("Tab\tand\r\nbreak", "Tab and break"),
    ],
)
def test_names_with_accents_commas_or_too_many_letters_are_written_as_the_layout_allows(name, written):
    assert read(write(CLUB, [pay(name)], description="RUN 1", on=ON)).details[0]["title"] == written


@pytest.mark.parametrize(
    ("broken", "sentence"),
    [
        ({"bsb": "082902"}, "a BSB is six digits like 123-456"),
        ({"bsb": "08２-902"}, "a BSB is six digits"),
        ({"account": "12 34"}, "an account number two to nine digits"),
        ({"account": "1234567890"}, "an account number two to nine digits"),
        ({"title": "愛"}, "no letter that a payment file allows"),
        ({"cents": 0}, "above 0.00"),
        ({"cents": 10**10}, "below a hundred million"),
    ],
)
def test_what_a_bank_would_not_take_is_refused_with_a_sentence(broken, sentence):
    with pytest.raises(Refused, match=sentence):
        write(CLUB, [pay(**broken)], description="RUN 1", on=ON)


def test_nothing_to_pay_makes_no_file():
    with pytest.raises(Refused, match="nothing to pay"):
        write(CLUB, [], description="RUN 1", on=ON)


def test_more_than_a_total_can_hold_is_refused():
    with pytest.raises(Refused, match="make several runs"):
        write(CLUB, [pay(cents=9_999_999_999), pay()], description="RUN 1", on=ON)


names = st.text(min_size=1, max_size=60)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.tuples(names, names, st.integers(1, 99_999), st.from_regex(r"[0-9]{2,9}", fullmatch=True)),
        min_size=1,
        max_size=6,
    ),
    st.booleans(),
)
def test_whatever_the_names_are_a_file_is_whole_or_refused(rows, balanced):
    sender = Sender(**{**CLUB.__dict__, "balanced": balanced})
    payments = [pay(title, cents, account=account, reference=said) for title, said, cents, account in rows]
    try:
        content = write(sender, payments, description="RUN 7", on=ON)
    except Refused:
        assert any(
            not in_file(payment.title, 32) or not in_file(payment.reference, 18) or not payment.account.strip("0")
            for payment in payments
        )
        return
    found = read(content)
    assert [row["cents"] for row in found.details[: len(rows)]] == [cents for *_, cents, _ in rows]
    assert [row["account"] for row in found.details[: len(rows)]] == [account for *_, account in rows]
