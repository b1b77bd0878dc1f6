"""How like a name is, how sure that makes an answer, and where each grade begins."""

from datetime import date, timedelta

import pytest

from clubdesk.bank.matching import BankLine, Expected, Grade, Matcher, likeness, match
from clubdesk.bank.wording import named_in_full

DAY, BEFORE = date(2026, 9, 12), date(2026, 9, 11)


@pytest.mark.parametrize(
    ("given", "family", "words", "score"),
    [
        # Three quarters of the family name's likeness and a quarter of the given name's.
        ("Juna", "Mirabar", ("mirabar", "juna"), 75 + 25),
        ("Juna", "Mirabar", ("mirabar", "j"), 75 + 0.25 * 92),
        ("Junia", "Mirabar", ("mirabar", "junis"), 75 + 0.25 * 80),  # four letters of five
        ("Juna", "Mirabar", ("mirabar", "june"), 75 + 0.25 * 40),  # three of four are not enough: as if none were told
        ("Juna", "Mirabar", ("mirabar",), 75 + 0.25 * 40),
        ("", "Mirabar", ("mirabar",), 75 + 0.25 * 80),
        ("Juna", "Wren", ("wrem",), 0.75 * 75 + 0.25 * 40),  # three letters of four
        ("Juna", "Mirabar", ("mir", "abar", "juna"), 75 + 25),
        ("Juna", "Wren", ("wxyz", "oto"), 0.5 * 25),  # one letter of four: half of what it is like
    ],
)
def test_the_family_name_counts_most_and_the_given_name_a_quarter(given, family, words, score):
    assert likeness((given, family), words) == pytest.approx(score)


def graded(*likes, lines=1):
    """What becomes of lines of 60.00 whose words are so like the names of payers who owe it, the first "a" in full."""
    payers = "abcdef"[: len(likes)]
    items = [Expected(each, BEFORE, 6000, each, names=(("Xena", f"Quoll{each}"),), payer=each) for each in payers]
    matcher = Matcher([BankLine(number, DAY, 6000, "XENA QUOLLA") for number in range(lines)], items)
    matcher.likes = {number: dict(zip(payers, likes, strict=True)) for number in range(lines)}
    return [
        (each.grade.name, each.items[0].key, [other[0].key for other in each.others])
        for each in matcher.run()
        if each.reasons[0] == "its words are like the name"
    ]


@pytest.mark.parametrize(
    ("likes", "grade"),
    [
        ((93,), "CERTAIN"),
        ((92.9,), "LIKELY"),
        ((93, 81), "CERTAIN"),
        ((93, 82), "LIKELY"),
        ((90, 84), "LIKELY"),
        ((90, 85), "POSSIBLE"),
        ((80, 75), "POSSIBLE"),
        ((75,), "LIKELY"),
        ((74.9,), None),
        ((79.9, 75), None),
    ],
)
def test_how_sure_a_name_is_hangs_on_how_like_it_is_and_on_its_rival(likes, grade):
    found = graded(*likes)
    assert [each[0] for each in found] == ([grade] if grade else [])
    assert [each[1] for each in found] == (["a"] if grade else [])


def test_only_those_who_are_nearly_as_like_are_shown_beside_it():
    assert graded(90, 89, 85, 84) == [("POSSIBLE", "a", ["b", "c"])]
    assert graded(90, 89, 88, 87, 86) == [("POSSIBLE", "a", ["b", "c", "d"])]


@pytest.mark.parametrize(
    ("words", "family", "grade"),
    [("LEE SAM", "Lee", "CERTAIN"), ("NG SAM", "Ng", "POSSIBLE"), ("NNG SAM", "Ng", "POSSIBLE")],
)
def test_a_family_name_of_two_letters_is_too_short_to_be_told_by(words, family, grade):
    owed = Expected(family, DAY, 6000, "fee", names=(("Sam", family),), payer=family)
    (found,) = match([BankLine(1, DAY, 6000, words)], [owed])
    assert found.grade.name == grade


@pytest.mark.parametrize(
    ("given", "family", "stands"),
    [
        ("Sam", "Ng", True), ("Al", "Ng", True), ("A", "Ng", False), ("Sam", "N", False), ("Sam", "Sam", False),
        ("Sam", "Wu", False), ("Jo", "Ng", False),
    ],
)  # fmt: skip
def test_a_name_in_full_is_two_words_of_two_letters_or_more(given, family, stands):
    assert named_in_full((given, family), ("ng", "sam", "al", "a", "n")) == stands


@pytest.mark.parametrize(
    ("words", "grade"),
    [
        ("IDA MIRABAR", "CERTAIN"),
        ("MIRABAR IDA TFR MEMBERSHIP 12SEP 0098213", "CERTAIN"),
        ("MIRABAR IDA BEACH ARCHERS", "CERTAIN"),  # the club's own name
        ("MIRABAR IDA TOM", "CERTAIN"),  # another of the family
        ("MIRABAR IDA RAFFLE", "LIKELY"),
        ("MIRABAR IDA REVERSAL", "LIKELY"),
        ("MIRABAR I", "LIKELY"),
        ("I MIRABAR GUTTER CLEANING", "POSSIBLE"),
        ("MIRABER IDA", "LIKELY"),
    ],
)
def test_certain_is_a_full_name_with_no_word_that_speaks_of_something_else(words, grade):
    family = (("Ida", "Mirabar"), ("Tom", "Mirabar"))
    fee = Expected("fee", BEFORE, 6000, "Mirabar family pays Membership", names=family, payer="1", loose=True)
    (found,) = match([BankLine(1, DAY, 6000, words)], [fee], club="Beach Archers")
    assert found.grade.name == grade


def test_a_namesake_who_owes_nothing_speaks_against_a_full_name():
    fee = Expected("fee", BEFORE, 6000, "fee", names=(("Sam", "Lee"),), payer="1", loose=True)
    line = [BankLine(1, DAY, 6000, "SAM LEE")]
    assert match(line, [fee])[0].grade == Grade.CERTAIN
    assert match(line, [fee], others={"2": [("Sam", "Lee")]})[0].grade == Grade.LIKELY


@pytest.mark.parametrize(("others", "grade"), [(2, "CERTAIN"), (3, "LIKELY")])
def test_a_full_name_of_a_family_name_that_many_have_is_not_certain(others, grade):
    """A grandmother of another family may well be called so too."""
    fee = Expected("fee", BEFORE, 6000, "fee", names=(("Fiona", "Jones"),), payer="1", loose=True)
    of_the_name = {str(n): [(given, "Jones")] for n, given in enumerate(("Bo", "Cy", "Al")[:others], 2)}
    (found,) = match([BankLine(1, DAY, 6000, "FIONA JONES")], [fee], others=of_the_name)
    assert found.grade.name == grade


@pytest.mark.parametrize(
    ("words", "grade"),
    [
        ("PAYMENT 100018", "CERTAIN"),
        ("QUOLL B 100018", "CERTAIN"),
        ("BEA QUOLL 100018", "LIKELY"),
        ("REVERSAL 100018", "LIKELY"),
    ],
)
def test_a_reference_is_certain_unless_the_line_names_another_in_full_or_takes_back(words, grade):
    fees = [
        Expected("a", BEFORE, 6000, "fee", names=(("Ida", "Mirabar"),), payer="1", references=("100018",), loose=True),
        Expected("b", BEFORE, 9900, "fee", names=(("Bea", "Quoll"),), payer="2", references=("100026",), loose=True),
    ]
    (found,) = match([BankLine(1, DAY, 6000, words)], fees)
    assert (found.items[0].key, found.grade.name) == ("a", grade)


@pytest.mark.parametrize(("paid", "owed", "found"), [(1, 1, 1), (-1, -1, 1), (1, -1, 0), (-1, 1, 0)])
def test_a_reference_speaks_only_of_money_that_goes_the_same_way(paid, owed, found):
    fee = Expected("x", DAY, owed, "fee", references=("100018",), loose=True)
    assert len(match([BankLine(1, DAY, paid, "PAYMENT 100018")], [fee])) == found


@pytest.mark.parametrize(("days", "found"), [(-4, 0), (-3, 1), (0, 1), (10, 1), (11, 0)])
def test_an_amount_without_a_name_is_looked_for_within_its_days(days, found):
    lines = [BankLine(1, DAY + timedelta(days=days), 5000, "CASH")]
    assert len(match(lines, [Expected("x", DAY, 5000, "takings", early=3, late=10)])) == found


def test_money_from_a_family_in_part_of_what_it_owes_pays_its_account():
    fee = Expected("x", DAY, 6000, "fee", names=(("Ida", "Mirabar"),), payer="1", loose=True)
    (found,) = match([BankLine(1, DAY, 100, "IDA MIRABAR")], [fee])
    assert (found.items, found.grade, found.reasons[1]) == ((fee,), Grade.LIKELY, "the amount is another")
    assert match([BankLine(1, DAY, -100, "IDA MIRABAR")], [fee]) == []
