"""Lines that are none of the usual: taken back, split, paid in part of a list, of the account itself, or under another
name. Steps of `matching.Matcher`, each given it.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from clubdesk.bank.answers import BankLine, Grade, Habit, Proposal, apart, in_order, within
from clubdesk.bank.sums import fitting, subsets
from clubdesk.bank.wording import BOUNCED, CORRECTED, OF_THE_ACCOUNT, gist, plain, telling, words_of
from clubdesk.expecting import Expected

if TYPE_CHECKING:
    from clubdesk.bank.matching import Matcher

TAKES_BACK_WITHIN = timedelta(days=21)
PLAINLY = 90
"""How like a name is that a line plainly speaks of."""
MOST_SHOWN = 4
"""So many answers are shown of which none is better than the others."""


def by_corrections(matcher: "Matcher") -> None:
    """A line and the later one by which the bank takes it back; not where the book has an entry of just the first."""
    waiting: dict[int, list[BankLine]] = defaultdict(list)
    takes_back = {line.key: not (BOUNCED | CORRECTED).isdisjoint(matcher.words[line.key]) for line in matcher.lines}
    for line in sorted(matcher.left(), key=lambda each: (each.day, takes_back[each.key], each.text, each.key)):
        words = set(matcher.words[line.key])
        if takes_back[line.key]:
            taken = [each for each in waiting[-line.cents] if _takes_back(matcher, line, each)]
            matcher.doubted |= {each.key for each in taken}
            if taken and (words & CORRECTED or not _in_the_book(matcher, taken[-1])):
                waiting[-line.cents].remove(taken[-1])
                matcher.take([taken[-1], line], (), Grade.LIKELY, "the second takes the first back")
                continue
        waiting[line.cents].append(line)


def _takes_back(matcher: "Matcher", line: BankLine, earlier: BankLine) -> bool:
    """Whether the words of both speak of one thing, or the later one's of nothing that tells it from others."""
    said, before = (telling(matcher.words[each.key]) for each in (line, earlier))
    said -= {"bank", "customer", "entry", "posted", "previous", "item", "deposit"}
    numbers = {word for word in matcher.words[line.key] if word.isdigit() and len(word) > 3}
    alike = said & before or numbers & set(matcher.words[earlier.key]) or not said
    return bool(alike) and timedelta(0) <= line.day - earlier.day <= TAKES_BACK_WITHIN


def _in_the_book(matcher: "Matcher", line: BankLine) -> bool:
    """Whether an entry of whoever the line names stands, so that it was recorded before it was taken back."""
    liked = matcher.liked(line)
    return any(
        not item.loose and not item.says and within(item, line) and liked.get(item.payer, 0) >= PLAINLY
        for item in matcher.of_amount[line.cents]
    )


def by_splits(matcher: "Matcher") -> None:
    """Several lines of the same words for one entry without a name, such as a settlement that is paid in two sums."""
    alike: dict[tuple[str, ...], list[BankLine]] = defaultdict(list)
    for line in matcher.left():
        alike[gist(matcher.words[line.key])].append(line)
    groups = [lines for _, lines in sorted(alike.items()) if len(lines) > 1]
    for item in matcher.items:
        if item.names or item.loose or item.batch or item.says or item.parts or item.key not in matcher.open_items:
            continue
        for lines in groups:
            near = {line.key: line for line in lines if line.key in matcher.open_lines and within(item, line)}
            parts = [Expected(key, line.day, line.cents, "") for key, line in near.items()]
            answers = subsets(BankLine(0, item.day, item.cents, ""), parts)
            if answers and (len(answers) == 1 or len(answers[0]) < len(answers[1])):
                found = sorted((near[int(str(part.key))] for part in answers[0]), key=lambda each: (each.day, each.key))
                matcher.take(found, [item], Grade.LIKELY, f"{len(found)} lines come to it")
                break


def by_lists(matcher: "Matcher") -> None:
    """Part of what was claimed together, such as some vouchers of a list: those whose sum fits."""
    lists = [item for item in matcher.items if item.parts]
    for line in list(matcher.left()):
        found = []
        for item in lists:
            parts = [part for part in item.parts if part.key in matcher.open_items]
            if line.cents > 0 and within(item, line) and sum(part.cents for part in parts) > line.cents:
                found += [(way, len(parts)) for way in fitting(parts, line.cents)]
        if found:
            way, count = found[0]
            grade = Grade.LIKELY if len(found) == 1 else Grade.POSSIBLE
            said = f"{len(way)} of the {count} that were claimed come to it, the others stay owed"
            matcher.take([line], way, grade, said, others=[each for each, _ in found[1:MOST_SHOWN]])


def by_bounces(matcher: "Matcher") -> None:
    """Money that comes back without saying whose it was: what was paid of just that amount, the latest first."""
    for line in list(matcher.left()):
        words = set(matcher.words[line.key])
        near = [
            item
            for item in matcher.of_amount[line.cents]
            if words & set(item.says) and item.key in matcher.open_items and within(item, line)
        ]
        near.sort(key=lambda item: (apart(item, line), in_order(item.key)))
        if near:
            grade = Grade.LIKELY if len(near) == 1 else Grade.POSSIBLE
            others = [[item] for item in near[1:MOST_SHOWN]]
            matcher.take([line], near[:1], grade, "the amount is the same and it comes back", others=others)


def by_habits(matcher: "Matcher") -> None:
    """What the account did with such words before; money that goes the other way is what was paid coming back."""
    exact: dict[tuple[str, ...], list[Habit]] = defaultdict(list)
    by_word: dict[str, list[Habit]] = defaultdict(list)
    words = {habit.key: words_of(habit.text) for habit in matcher.habits}
    for habit in matcher.habits:
        exact[gist(words[habit.key])].append(habit)
        for word in telling(words[habit.key]):
            by_word[word].append(habit)
    for line in list(matcher.left()):
        said = matcher.words[line.key]
        same = exact.get(gist(said), []) if telling(said) or OF_THE_ACCOUNT & set(said) else []
        like = [habit for word in sorted(telling(said)) for habit in by_word.get(word, ())]
        if answers := _answers(
            line, [*same, *(each for each in like if _one_in_other(telling(words[each.key]), said))]
        ):
            goes_back = (same or like)[0].cents * line.cents < 0
            reason = (
                "such a line was paid before, and this goes back" if goes_back else "such lines were booked so before"
            )
            grade = Grade.LIKELY if same and len(answers) == 1 else Grade.POSSIBLE
            matcher.take([line], answers[0], grade, reason, others=answers[1:MOST_SHOWN])


def _one_in_other(before: frozenset[str], said: Sequence[str]) -> bool:
    now = telling(said)
    return bool(before and now) and (before <= now or now <= before)


def _answers(line: BankLine, habits: Sequence[Habit]) -> list[list[Expected]]:
    """An answer for each different account that such lines were booked to, the latest first."""
    found: dict[str, list[Expected]] = {}
    for habit in habits:
        found.setdefault(habit.what, [Expected(habit.key, line.day, line.cents, habit.what)])
    return list(found.values())


def by_amount_alone(matcher: "Matcher") -> None:
    """What is of the very amount, whoever it names: entries of about the day, then what is owed, best by a word."""
    certain = _used_for_certain(matcher)
    for line in list(matcher.left()):
        near = [item for item in matcher.of_amount[line.cents] if not item.says and within(item, line)]
        near = [item for item in near if item.key in matcher.open_items or _is_of_its_day(item, line, certain)]
        booked = [item for item in near if not item.loose]
        owed = [item for item in near if item.loose]
        booked.sort(key=lambda item: (-_speaks(matcher, item, line), apart(item, line), in_order(item.key)))
        owed.sort(key=lambda item: (-_speaks(matcher, item, line), apart(item, line), in_order(item.key)))
        shown = (booked + owed)[: MOST_SHOWN + 1]
        if shown:
            matcher.take(
                [line], shown[:1], Grade.POSSIBLE, "the amount is the same; nothing else speaks for it",
                others=[[item] for item in shown[1:]],
            )  # fmt: skip


def _speaks(matcher: "Matcher", item: Expected, line: BankLine) -> int:
    """How many words of the line are names of whoever it is about."""
    names = {part for name in item.names for part in plain(name)}
    return sum(word in names for word in matcher.words[line.key])


def _used_for_certain(matcher: "Matcher") -> set[object]:
    return {item.key for each in matcher.found if each.grade == Grade.CERTAIN for item in each.items}


def _is_of_its_day(item: Expected, line: BankLine, used: set[object]) -> bool:
    """Whether it is an entry of the line's very day, which no certain answer has used."""
    return item.day == line.day and not item.loose and not item.says and item.key not in used


def with_same_day(matcher: "Matcher") -> list[Proposal]:
    """What was found, each with every entry of the very day and amount that no certain answer has used."""
    used = _used_for_certain(matcher)
    return [_with_same_day(matcher, each, used) for each in matcher.found]


def _with_same_day(matcher: "Matcher", proposal: Proposal, used: set[object]) -> Proposal:
    if len(proposal.lines) > 1:
        return proposal
    line = proposal.lines[0]
    told = {item.key for items in (proposal.items, *proposal.others) for item in items}
    more = [
        (item,) for item in matcher.of_amount[line.cents] if _is_of_its_day(item, line, used) and item.key not in told
    ]
    others = (*proposal.others, *more)
    return Proposal(proposal.lines, proposal.items, proposal.grade, proposal.reasons, others)
