"""A payment file that was spoilt on its way is found out, wherever the file itself can tell."""

import re
from datetime import date

import pytest

from clubdesk.bank.directentry import Payment, Sender, faults, write

CLUB = ("012-003", "4500123", "QUB", "REEDBANK ARCHERS INC", "301500", "REEDBANK ARCHERS")
TO_PAY = (
    Payment("082-902", "123456", "Ida Mirabar", "ENTRY FEE 1", 6000),
    Payment("083-170", "987654321", "Bea Quoll", "ENTRY FEE 2", 12345),
)


def made(balanced):
    return write(Sender(*CLUB, balanced=balanced), TO_PAY, description="RUN 1", on=date(2026, 9, 14))


WHOLE, BALANCED = made(balanced=False), made(balanced=True)

WORDS, BSB, ACCOUNT = r"\S.*", "[0-9]{3}-[0-9]{3}", " *[0-9]{2,9}"
FREE = {
    ("0", 21, 23): ("[A-Z]{3}", "which bank the club has, only that bank can tell"),
    ("0", 31, 56): (WORDS, "the club's name"),
    ("0", 57, 62): ("[0-9]{6}", "the number that the bank gave the club"),
    ("0", 63, 74): (WORDS, "what the payments are, in words"),
    ("0", 75, 80): ("(0[1-9]|[12][0-9]|3[01])(0[1-9]|1[0-2])[0-9]{2}", "any day is as good as another"),
    ("1", 2, 8): (BSB, "no total is made of accounts; the digest of the run's file tells"),
    ("1", 9, 17): (ACCOUNT, "no total is made of accounts; the digest of the run's file tells"),
    ("1", 19, 20): ("50|53", "a payment and a wage are both money to the payee"),
    ("1", 31, 62): (WORDS, "the payee's name"),
    ("1", 63, 80): (WORDS, "what the payee reads beside the amount"),
    ("1", 81, 87): (BSB, "no total is made of accounts; the digest of the run's file tells"),
    ("1", 88, 96): (ACCOUNT, "no total is made of accounts; the digest of the run's file tells"),
    ("1", 97, 112): (WORDS, "who pays, in words"),
}
"""By record and positions from 1: what may stand there with nothing else in the file to tell against it, and why."""


def passes_for_another(record, place, spoilt):
    """Whether the character at the place belongs to a field of which both values are of its form."""
    for (kind, first, last), (form, _) in FREE.items():
        if record[0] == kind and first <= place <= last:
            return all(re.fullmatch(form, each[first - 1 : last]) for each in (record, spoilt))
    return False


def spoilt_files(content):
    """The file with one character another, each place and each digit, letter or blank: record, place, record, file."""
    text = content.decode()
    for number, record in enumerate(text.splitlines(keepends=True)):
        for place, stood in enumerate(record, 1):
            for other in set("0123456789X ") - {stood}:
                spoilt = record[: place - 1] + other + record[place:]
                before, after = text[: number * len(record)], text[(number + 1) * len(record) :]
                yield record, place, spoilt, (before + spoilt + after).encode()


@pytest.mark.parametrize("content", [WHOLE, BALANCED], ids=["credits alone", "balanced"])
def test_whatever_is_not_free_is_found_out_when_one_character_is_another(content):
    assert faults(content) == []
    told_wrongly = [
        (place, spoilt)
        for record, place, spoilt, file in spoilt_files(content)
        if bool(faults(file)) == passes_for_another(record, place, spoilt)
    ]
    assert told_wrongly == []


@pytest.mark.parametrize("field", FREE)
def test_no_field_is_called_free_of_which_the_file_tells_every_change(field):
    kind, first, last = field
    assert [
        place
        for record, place, _, file in spoilt_files(WHOLE)
        if record[0] == kind and first <= place <= last and faults(file) == []
    ]


def test_a_character_that_no_field_may_hold_is_found_out_wherever_it_stands():
    unnoticed = [place for place in range(len(BALANCED)) if not faults(BALANCED[:place] + b"~" + BALANCED[place + 1 :])]
    assert unnoticed == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"0000006000", b"0000006100"),
        (b" 50", b" 13"),
        (b"00000000", b"00000150"),
        (b"999-999", b"999-998"),
        (b"082-902", b"0829-02"),
        (b"0000018345", b"0000018354"),
        (b"00000183450000018345", b"00000183550000018355"),
        (b"000002", b"000003"),
        (b"140926", b"141326"),
        (b"\r\n1", b"\n1"),
        (b"RUN 1 ", b"RUN 1"),
    ],
)
def test_a_field_with_another_value_is_found_out_by_its_form_or_the_totals(old, new):
    assert old in WHOLE
    assert faults(WHOLE.replace(old, new, 1))


@pytest.mark.parametrize(
    "order", [(0, 1, 3), (0, 1, 1, 2, 3), (0, 3), (1, 2, 3), (0, 1, 2), (1, 0, 2, 3), (0, 0, 1, 2, 3)]
)
def test_a_record_that_is_lost_or_stands_twice_or_elsewhere_is_found_out(order):
    records = WHOLE.splitlines(keepends=True)
    assert faults(b"".join(records[number] for number in order))
