"""Matching held against three generated years with the oddities of real banks; -s prints the numbers by kind."""

import pytest

from tests.bank.oddbank.club import Club
from tests.bank.oddbank.judging import CERTAIN_RIGHT, CERTAIN_WRONG, NOTHING, SHOWN, judged, table


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_certain_is_never_wrong_and_few_lines_that_have_an_answer_show_none(seed):
    found = judged(seed)
    print(f"\nyear {seed}\n{table(found)}")
    assert found.count(CERTAIN_WRONG) + found.count(CERTAIN_WRONG, with_answer=False) == 0
    assert found.count(CERTAIN_RIGHT, with_answer=False) == 0
    assert found.count(NOTHING) <= found.with_answer / 20
    assert found.count(CERTAIN_RIGHT) + found.count(SHOWN) >= 0.9 * found.with_answer
    assert found.with_answer > 700


def test_every_line_comes_in_once_though_some_were_announced_before():
    found, year = judged(1), Club(1).make()
    assert found.lines == len(year.lines)
    assert found.waited == sum(line.announced is not None for line in year.lines) > 5
