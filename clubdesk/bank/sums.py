"""Which of many items come to a sum. Pure, with an end to the search."""

from collections import defaultdict
from collections.abc import Sequence

from clubdesk.bank.answers import BankLine, apart, in_order
from clubdesk.expecting import Expected

MOST_IN_A_SUM = 5
MOST_TRIED = 24
MOST_STEPS = 20_000
"""The bound of the search for sums: so many items near a line, so many of them together, so many steps."""


def subsets(line: BankLine, items: Sequence[Expected]) -> list[tuple[Expected, ...]]:
    """Up to three sets of items that come to the line's amount exactly: the fewest, then the nearest, first.

    Only the nearest `MOST_TRIED` items of the line's sign are tried, at most `MOST_IN_A_SUM` together, for at most
    `MOST_STEPS` steps; beyond that it says nothing rather than something unproven.
    """
    near = sorted(
        (item for item in items if (item.cents > 0) == (line.cents > 0) and abs(item.cents) < abs(line.cents)),
        key=lambda item: (apart(item, line), -abs(item.cents), in_order(item.key)),
    )[:MOST_TRIED]
    near.sort(key=lambda item: (-abs(item.cents), apart(item, line), in_order(item.key)))
    values = [abs(item.cents) for item in near]
    steps = 0
    for size in range(2, MOST_IN_A_SUM + 1):
        found: list[tuple[int, ...]] = []
        waiting: list[tuple[int, int, tuple[int, ...]]] = [(0, abs(line.cents), ())]
        while waiting:
            steps += 1
            if steps > MOST_STEPS:
                return []
            start, rest, chosen = waiting.pop()
            left = size - len(chosen)
            if not left:
                if not rest:
                    found.append(chosen)
                continue
            for place in range(len(values) - left, start - 1, -1):
                if values[place] <= rest and values[place] * left >= rest:
                    waiting.append((place + 1, rest - values[place], (*chosen, place)))
        if found:
            sets = [tuple(near[place] for place in places) for places in found]
            sets.sort(key=lambda each: (sum(apart(item, line) for item in each), [in_order(item.key) for item in each]))
            return sets[:3]
    return []


def fitting(parts: Sequence[Expected], cents: int) -> list[tuple[Expected, ...]]:
    """Up to two ways in which some of the parts, all above nil, come to the amount; of equal parts the first ones.

    Two ways differ in how many of each amount they take. Beyond `MOST_STEPS` sums nothing is said.
    """
    equal: dict[int, list[Expected]] = defaultdict(list)
    for part in parts:
        equal[part.cents].append(part)
    ways: dict[int, list[tuple[Expected, ...]]] = {0: [()]}
    for amount in sorted(equal, reverse=True):
        grown: dict[int, list[tuple[Expected, ...]]] = defaultdict(list)
        for reached, chosen in ways.items():
            for count in range(len(equal[amount]) + 1):
                if reached + count * amount <= cents:
                    grown[reached + count * amount] += [(*each, *equal[amount][:count]) for each in chosen]
        ways = {reached: chosen[:2] for reached, chosen in grown.items()}
        if len(ways) > MOST_STEPS:
            return []
    return [each for each in ways.get(cents, []) if each]
