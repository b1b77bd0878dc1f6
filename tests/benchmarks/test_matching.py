"""What matching a statement costs as both sides grow."""

from clubdesk.bank.matching import match
from tests.bank.bankyear import year


def test_matching_twice_the_lines_and_items(ratio):
    """4,000 lines against 8,000 items beside 2,000 against 4,000."""
    small, large = year(1, 2000), year(1, 4000)
    assert len(small.items) == 4000
    ratio(lambda: match(large.lines, large.items), lambda: match(small.lines, small.items), rounds=5, limit=2.5)
