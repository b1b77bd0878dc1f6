"""What explains the lines of a statement, held against a generated year of which the truth is known."""

import random
from datetime import date, timedelta
from itertools import combinations
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clubdesk.bank.matching import (
    MOST_IN_A_SUM,
    MOST_STEPS,
    MOST_TRIED,
    BankLine,
    Expected,
    Grade,
    likeness,
    match,
    subsets,
    words_of,
)
from tests.bank.bankyear import judged, year

DAY = date(2026, 9, 12)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_of_the_grade_certain_none_is_wrong_and_few_lines_stay_unexplained(seed):
    """2,000 lines against 4,000 items; printed with -s."""
    made = year(seed)
    found = judged(made, match(made.lines, made.items))
    print(seed, found)
    explained = [key for key, true in made.truth.items() if true is not None]
    good = found.get("certain, right", 0) + found.get("likely, right", 0)
    assert found.get("certain, wrong", 0) == 0
    assert good >= 0.95 * len(explained)


def test_shuffled_input_changes_nothing():
    made = year(4, 400)
    lines, items = list(made.lines), list(made.items)
    first = match(lines, items)
    random.Random(0).shuffle(lines)
    random.Random(1).shuffle(items)
    assert match(lines, items) == first


def test_a_line_brought_in_twice_gets_no_second_item():
    lines = [BankLine(1, DAY, 6000, "MIRABAR IDA"), BankLine(2, DAY, 6000, "MIRABAR IDA")]
    items = [Expected("a", DAY, 6000, "fee", names=(("Ida", "Mirabar"),), payer="1")]
    assert [(proposal.lines, proposal.grade) for proposal in match(lines, items)] == [((lines[0],), Grade.CERTAIN)]


def test_two_answers_as_good_as_each_other_are_both_shown_and_none_is_chosen():
    twins = [Expected(key, DAY, 5000, f"takings {key}", early=0, late=3) for key in "ab"]
    (found,) = match([BankLine(1, DAY, 5000, "CASH")], twins)
    assert found.grade == Grade.POSSIBLE
    assert {*found.items, *found.others[0]} == set(twins)


def test_a_deposit_that_two_pairs_of_takings_come_to_is_only_possible():
    takings = [Expected(cents, DAY, cents, "takings") for cents in (1000, 1400, 1600, 2000)]
    (found,) = match([BankLine(1, DAY, 3000, "CASH")], takings)
    assert found.grade == Grade.POSSIBLE
    pairs = [{item.cents for item in pair} for pair in (found.items, *found.others)]
    assert sorted(pairs, key=min) == [{1000, 2000}, {1400, 1600}]


def test_a_fee_that_two_pairs_of_payments_come_to_is_left_to_the_treasurer():
    owed = Expected("x", DAY, 3000, "membership", names=(("Ida", "Mirabar"),), payer="1")
    lines = [BankLine(cents, DAY, cents, "IDA MIRABAR") for cents in (1000, 1400, 1600, 2000)]
    assert match(lines, [owed]) == []
    (found,) = match([lines[0], lines[3]], [owed])
    assert (found.items, found.grade) == ((owed,), Grade.LIKELY)


def test_two_families_of_the_name_are_no_certainty():
    items = [
        Expected(n, DAY, 6000, f"fee {n}", names=((given, "Quoll"),), payer=str(n))
        for n, given in enumerate(("Sam", "Sue"))
    ]
    (found,) = match([BankLine(1, DAY, 6000, "QUOLL S")], items)
    assert found.grade == Grade.POSSIBLE
    assert len(found.others) == 1


def test_a_reference_speaks_louder_than_a_name():
    items = [
        Expected("a", DAY, 6000, "fee a", names=(("Ida", "Mirabar"),), payer="1", references=("100018",)),
        Expected("b", DAY, 6000, "fee b", names=(("Bea", "Quoll"),), payer="2", references=("100026",)),
    ]
    (found,) = match([BankLine(1, DAY, 6000, "QUOLL B 100018")], items)
    assert (found.items[0].key, found.grade) == ("a", Grade.CERTAIN)
    assert found.reasons == ("its reference says so", "the amount is the same")


def test_a_reference_of_several_words_is_found_only_whole():
    runs = [Expected(n, DAY, -6000, f"refund of run {n}", references=(f"run {n}",), batch=f"run {n}") for n in (1, 12)]
    (found,) = match([BankLine(1, DAY, -6000, "DIRECT ENTRY RUN 12")], runs)
    assert found.items[0].key == 12


def test_one_line_for_a_whole_run_and_two_lines_for_one_item():
    run = [Expected(n, DAY, -5000, f"refund {n}", batch="run 3", references=("run 3",)) for n in range(4)]
    owed = Expected("x", DAY, 22800, "membership", names=(("Ida", "Mirabar"),), payer="1", late=40)
    lines = [
        BankLine(1, DAY, -20000, "DE RUN 3"),
        BankLine(2, DAY, 10000, "IDA MIRABAR"),
        BankLine(3, DAY + timedelta(days=9), 12800, "IDA MIRABAR"),
    ]
    found = {proposal.lines[0].key: proposal for proposal in match(lines, [*run, owed])}
    assert (len(found[1].items), found[1].grade) == (4, Grade.CERTAIN)
    assert ([line.key for line in found[2].lines], found[2].grade) == ([2, 3], Grade.LIKELY)


def test_of_several_lines_of_a_family_those_that_come_to_the_item_are_found():
    owed = Expected("x", DAY, 22800, "membership", names=(("Ida", "Mirabar"),), payer="1", late=40)
    amounts = (10000, 700, 12800)
    lines = [BankLine(n, DAY + timedelta(days=n), cents, "IDA MIRABAR") for n, cents in enumerate(amounts, 1)]
    (found,) = match(lines, [owed])
    assert ([line.key for line in found.lines], found.grade) == ([1, 3], Grade.LIKELY)


def test_a_run_that_the_bank_debits_in_two_sums_is_found_in_its_parts():
    run = [
        Expected(n, DAY, -cents, f"refund {n}", batch="run 3", names=(("Ann", f"Family{n}"),), payer=str(n))
        for n, cents in enumerate((4500, 5000, 6500, 8000))
    ]
    found = match([BankLine(1, DAY, -9500, "BATCH"), BankLine(2, DAY, -14500, "BATCH")], run)
    assert [sorted(item.key for item in each.items) for each in found] == [[0, 1], [2, 3]]


def test_money_never_explains_a_payment_the_other_way():
    assert (
        match([BankLine(1, DAY, -5000, "REF 100018")], [Expected("a", DAY, 5000, "fee", references=("100018",))]) == []
    )


@pytest.mark.parametrize(
    ("text", "least", "most"),
    [
        ("IDA MIRABAR", 99, 100),
        ("MIRABAR I", 95, 99),
        ("MIRABER I", 80, 93),
        ("MIRABAR", 84, 90),
        ("MIRABAR TOM", 84, 90),
        ("QUOLL IDA", 0, 60),
        ("CASH DEPOSIT", 0, 60),
    ],
)
def test_how_like_a_name_the_words_are(text, least, most):
    assert least <= likeness(("Ida", "Mirabar"), words_of(text)) <= most


sums = st.lists(st.integers(1, 60), min_size=2, max_size=9)


@settings(max_examples=300, deadline=None)
@given(sums, st.integers(2, 200))
def test_a_sum_is_found_exactly_where_there_is_one_and_with_the_fewest(values, target):
    items = [Expected(n, DAY, cents, str(n)) for n, cents in enumerate(values)]
    sizes = [
        size
        for size in range(2, MOST_IN_A_SUM + 1)
        if any(sum(each) == target for each in combinations([v for v in values if v < target], size))
    ]
    found = subsets(BankLine(1, DAY, target, ""), items)
    assert bool(found) == bool(sizes)
    if found:
        assert len(found[0]) == sizes[0]
        assert all(sum(item.cents for item in each) == target for each in found)
        assert len({frozenset(item.key for item in each) for each in found}) == len(found)


def test_the_search_for_sums_has_an_end():
    """Five thousand items of nearly the same amount, none of which come to the line: it says nothing, at once."""
    items = [Expected(n, DAY, 10_000 + 2 * n, str(n)) for n in range(5000)]
    assert subsets(BankLine(1, DAY, 1_000_001, ""), items) == []
    assert subsets(BankLine(1, DAY, 40_101, ""), items) == []


def test_a_sum_that_comes_about_in_too_many_ways_is_not_told_at_all():
    """24 fees of the same amount: any five of them come to the line, in more ways than may be tried."""
    fees = [Expected(n, DAY, 10_000, "fee") for n in range(MOST_TRIED)]
    line = BankLine(1, DAY, 50_000, "")
    assert comb(len(fees), 5) == 42_504 > MOST_STEPS
    assert subsets(line, fees) == []
    assert subsets(line, fees[:6]) != []
