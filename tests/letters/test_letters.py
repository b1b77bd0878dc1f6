"""Every kind of letter as a family reads it: the text of each stands beside this file, in a file of its own.

A letter that reads otherwise than its file fails. Where it is meant to, `LETTERS=write pytest tests/letters` writes the
files anew; read what changed in them before it is committed.
"""

import os
import re
from pathlib import Path

import pytest

from clubdesk.fees import letters, writing
from clubdesk.lettering import written
from clubdesk.mail import selectors
from clubdesk.roll.selectors import payment_reference
from tests.letters import of_courses, of_fees, of_members, of_the_rest
from tests.letters.club import CASES, Club

pytestmark = [pytest.mark.either, pytest.mark.django_db]
FILES = Path(__file__).parent
LONGEST = 25
"""Words of a sentence."""
CASES_IN = (of_courses, of_fees, of_members, of_the_rest)
"""What is imported stands in `CASES`."""


@pytest.fixture
def kinds_written(monkeypatch):
    """Of which kind each letter is, by what it says."""
    found = {}

    def noted(kind, says, values):
        subject, body = written(kind, says, values)
        found[body] = kind.key
        return subject, body

    for module in (writing, letters):
        monkeypatch.setattr(module, "written", noted)
    return found


def as_read(letter, kinds):
    """The letter with what differs from book to book taken out."""
    letter.refresh_from_db()
    home = letter.household
    body = letter.body.replace(payment_reference(home), "(reference)") if home else letter.body
    return (
        f"Kind: {kinds[letter.body] or 'words written for once'}\nTo: {letter.to}\nSubject: {letter.subject}\n\n{body}"
    )


@pytest.mark.parametrize("name", CASES)
def test_a_letter_reads_as_its_file_does(name, by, kinds_written):
    said, file = as_read(CASES[name](Club(by)), kinds_written), FILES / f"{name}.txt"
    if os.environ.get("LETTERS") == "write":
        file.write_text(said)
    assert said == file.read_text()


def test_no_file_is_of_a_letter_that_nobody_writes():
    assert {file.stem for file in FILES.glob("*.txt")} == set(CASES)


def test_no_sentence_of_a_letter_is_long():
    for file in FILES.glob("*.txt"):
        for sentence in re.split(r"[.?!:;]\s|\n", file.read_text()):
            assert len(sentence.split()) <= LONGEST, f"{file.name}: {sentence}"


def test_every_letter_begins_with_a_capital_and_ends_with_whom_to_ask():
    for file in FILES.glob("*.txt"):
        kind, _, _, text = file.read_text().split("\n", 3)
        greeting, first, *_, end = text.strip().split("\n\n")
        assert greeting.startswith("Hello "), file.name
        assert first[0].isupper(), file.name
        of = selectors.kinds().get(kind.removeprefix("Kind:").strip())
        to_family = of is None or of.to_family  # words written for once go to families
        assert ("Kim Bell, kim@example.org" in end) == to_family, file.name


def test_every_kind_of_letter_has_its_file():
    kinds = {file.read_text().splitlines()[0].removeprefix("Kind: ") for file in FILES.glob("*.txt")}
    assert set(selectors.kinds()) - kinds == set()
