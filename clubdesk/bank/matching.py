"""What explains the lines of a statement: pure, no database, the same answer in whatever order lines and items come.

It is told the lines and what the rooms expect: entries that no line explains yet, and what is owed and not recorded.
It looks by reference, by amount with a name or a day, and by sums; and says of each answer why, and how sure it is:

- *certain*: a reference or a name speaks for it and nothing against it,
- *likely*: the amount and the days agree and there is no second answer, or a name is only like,
- *possible*: there are several answers as good as each other, or part of what is owed.
"""

import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import IntEnum
from functools import lru_cache
from itertools import pairwise

from rapidfuzz import fuzz

from clubdesk.rooms import Expected

MOST_IN_A_SUM = 5
MOST_TRIED = 24
MOST_STEPS = 20_000
"""The bound of the search for sums: so many items near a line, so many of them together, so many steps."""

SURE, LIKE, LEAD = 93, 80, 12


def _in_order(key: Hashable) -> tuple[int, str]:
    """Keys such as "posting 9" and "posting 10" in the order of their numbers."""
    return len(str(key)), str(key)


class Grade(IntEnum):
    POSSIBLE = 1
    LIKELY = 2
    CERTAIN = 3


@dataclass(frozen=True)
class BankLine:
    """A line of the statement: cents, money in positive."""

    key: int
    day: date
    cents: int
    text: str


@dataclass(frozen=True)
class Proposal:
    """Lines and the items that explain them. `others` are answers that are just as good, shown and never chosen."""

    lines: tuple[BankLine, ...]
    items: tuple[Expected, ...]
    grade: Grade
    reasons: tuple[str, ...]
    others: tuple[tuple[Expected, ...], ...] = ()


def words_of(text: str) -> list[str]:
    """The words and numbers of a text, small, without accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return re.findall(r"[a-z0-9]+", "".join(letter for letter in apart if not unicodedata.combining(letter)))


def _joined(words: Sequence[str]) -> list[str]:
    """The words, and each two that follow each other as one: a bank parts "Van Dam" or joins it as it likes."""
    return [*words, *(first + second for first, second in pairwise(words))]


@lru_cache(maxsize=20_000)
def _plain(name: tuple[str, str]) -> tuple[str, str]:
    given, family = ("".join(words_of(part)) for part in name)
    return given, family


def likeness(name: tuple[str, str], words: Sequence[str]) -> float:
    """How sure it is from 0 to 100 that a line with these words names the person: mostly the family name counts."""
    given, family = _plain(name)
    joined = _joined(words)
    best = max((fuzz.ratio(family, word) for word in joined if len(word) > 2), default=0.0)
    if best < 75:
        return best * 0.5
    first = 40.0 if given else 80.0
    for word in words:
        if given and (word == given or (len(word) == 1 and word == given[0])):
            first = max(first, 100.0 if len(word) > 1 else 92.0)
        elif given and len(word) > 2:
            first = max(first, fuzz.ratio(given, word) if fuzz.ratio(given, word) > 75 else 0)
    return 0.75 * best + 0.25 * first


@dataclass
class Matcher:
    """The book's expectations, indexed; lines and items are used up as they are matched."""

    lines: list[BankLine]
    items: list[Expected]
    found: list[Proposal] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.lines = sorted(self.lines, key=lambda each: (each.day, each.cents, each.text, each.key))
        self.items = sorted(self.items, key=lambda each: (each.day, each.cents, _in_order(each.key)))
        self.words = {line.key: words_of(line.text) for line in self.lines}
        self.open_lines = {line.key for line in self.lines}
        self.open_items = {item.key for item in self.items}
        self.by_reference: dict[str, list[Expected]] = defaultdict(list)
        self.exact: dict[tuple[str, int], list[Expected]] = defaultdict(list)
        self.nameless: dict[int, list[Expected]] = defaultdict(list)
        self.named: dict[tuple[int, str], list[Expected]] = defaultdict(list)
        self.by_payer: dict[str, list[Expected]] = defaultdict(list)
        self.of_batch: dict[str, list[Expected]] = defaultdict(list)
        names: dict[str, set[tuple[str, str]]] = defaultdict(set)
        for item in self.items:
            for reference in item.references:
                spoken = " ".join(words_of(reference))
                self.by_reference[spoken].append(item)
                self.exact[spoken, item.cents].append(item)
            if item.names:
                self.named[item.cents, item.payer].append(item)
            else:
                self.nameless[item.cents].append(item)
            if item.payer:
                self.by_payer[item.payer].append(item)
                names[item.payer].update(item.names)
            if item.batch:
                self.of_batch[item.batch].append(item)
        self.names = {payer: tuple(sorted(found)) for payer, found in names.items()}
        self.longest = max((len(each.split()) for each in self.by_reference), default=0)
        self._index_names()
        self.likes: dict[int, dict[str, float]] = {}

    def _index_names(self) -> None:
        """Payers by the letter pairs of their family names: a line is held only against names like its words."""
        self.pairs: dict[str, list[str]] = defaultdict(list)
        for payer, names in self.names.items():
            for pair in {pair for name in names for pair in _pairs(_plain(name)[1])}:
                self.pairs[pair].append(payer)

    def run(self) -> list[Proposal]:
        for step in (
            self.by_references, self.by_names, self.by_batches, self.by_amounts, self.by_sums, self.by_parts,
            self.by_payers,
        ):  # fmt: skip
            step()
        return sorted(self.found, key=lambda each: (each.lines[0].day, each.lines[0].key))

    # What is left to match

    def left(self) -> Iterator[BankLine]:
        for line in self.lines:
            if line.key in self.open_lines:
                yield line

    def same(self, line: BankLine) -> list[Expected]:
        """Open items of the line's very amount within their days: those without a name, and those of a like name."""
        groups = [self.nameless.get(line.cents, ())]
        groups += [self.named.get((line.cents, payer), ()) for payer in self.liked(line)]
        return [item for rows in groups for item in rows if item.key in self.open_items and _within(item, line)]

    def take(
        self,
        lines: Sequence[BankLine],
        items: Sequence[Expected],
        grade: Grade,
        *reasons: str,
        others: Iterable[Sequence[Expected]] = (),
    ) -> None:
        """These items explain these lines; an answer that is only possible uses no item up."""
        self.found.append(Proposal(tuple(lines), tuple(items), grade, reasons, tuple(map(tuple, others))))
        self.open_lines -= {line.key for line in lines}
        if grade > Grade.POSSIBLE:
            self.open_items -= {item.key for item in items}

    def liked(self, line: BankLine) -> dict[str, float]:
        """Payers whose names are like words of the line, with how like they are."""
        if line.key not in self.likes:
            words = self.words[line.key]
            spelt = {pair for word in _joined(words) for pair in _pairs(word)}
            shared = Counter(payer for pair in spelt for payer in self.pairs.get(pair, ()))
            near = {}
            for payer, count in shared.items():
                if count >= 3:
                    score = max(likeness(name, words) for name in self.names[payer])
                    if score >= 60:
                        near[payer] = score
            self.likes[line.key] = near
        return self.likes[line.key]

    # The ways of matching, the surest first

    def referenced(self, line: BankLine) -> list[Expected]:
        """Open items that a reference in the line's words speaks of: those of its very amount, else whatever amount."""
        spoken = self._spoken(line)
        for rows in (
            [item for each in spoken for item in self.exact.get((each, line.cents), ())],
            [item for each in spoken for item in self.by_reference[each]],
        ):
            found = {
                item.key: item for item in rows if item.key in self.open_items and (item.cents > 0) == (line.cents > 0)
            }
            if found:
                return sorted(found.values(), key=lambda each: (each.day, _in_order(each.key)))
        return []

    def _spoken(self, line: BankLine) -> list[str]:
        """The references that stand in the line's words."""
        words = self.words[line.key]
        said = (
            " ".join(words[start : start + size])
            for size in range(1, self.longest + 1)
            for start in range(len(words) - size + 1)
        )
        return [each for each in said if each in self.by_reference]

    def by_references(self) -> None:
        later = []
        for line in self.left():
            spoken = self.referenced(line)
            if spoken and not self._by_reference(line, spoken):
                later.append((line, spoken))
        for line, spoken in later:
            self._several_with_one_reference(line, spoken)

    def _by_reference(self, line: BankLine, spoken: Sequence[Expected]) -> bool:
        """One item of the very amount, or a whole batch."""
        exact = sorted((item for item in spoken if item.cents == line.cents), key=lambda item: _apart(item, line))
        if exact:
            if len({item.payer or item.key for item in exact}) > 1:
                return False
            of = "its reference says so"
            self.take([line], exact[:1], Grade.CERTAIN, of, "the amount is the same")
            return True
        batches = [self._open_of(batch) for batch in sorted({item.batch for item in spoken if item.batch})]
        whole = [rows for rows in batches if sum(item.cents for item in rows) == line.cents]
        if len(whole) != 1:
            return False
        self.take([line], whole[0], Grade.CERTAIN, "its reference says so", f"{len(whole[0])} payments come to it")
        return True

    def _open_of(self, batch: str) -> list[Expected]:
        return [item for item in self.of_batch[batch] if item.key in self.open_items]

    def _several_with_one_reference(self, line: BankLine, spoken: Sequence[Expected]) -> None:
        """Several items of the one who is named come to the line; or it is part of what is owed, or more."""
        spoken = [item for item in spoken if item.key in self.open_items]
        if line.key not in self.open_lines or not spoken:
            return
        if len({item.payer for item in spoken}) > 1:
            return
        if answers := subsets(line, spoken):
            together = f"{len(answers[0])} of them come to it"
            self.take([line], answers[0], Grade.CERTAIN, "its reference says so", together)
        elif all(item.loose for item in spoken):
            more = abs(line.cents) > sum(abs(item.cents) for item in spoken)
            rest = "it is more than is owed" if more else "it is part of what is owed"
            self.take([line], spoken[:1], Grade.LIKELY, "its reference says so", rest)

    def by_names(self) -> None:
        """The very amount and a name; first where nothing speaks against it."""
        named = [(line, self._ranked(line)) for line in self.left()]
        wanted: dict[Hashable, list[tuple[float, BankLine]]] = defaultdict(list)
        for line, ranked in named:
            for score, item in ranked:
                wanted[item.key].append((score, line))
        for sure in (Grade.CERTAIN, Grade.LIKELY):
            for line, ranked in named:
                open_ones = [(score, item) for score, item in ranked if item.key in self.open_items]
                if line.key in self.open_lines and open_ones:
                    self._by_name(line, open_ones, wanted, sure)

    def _ranked(self, line: BankLine) -> list[tuple[float, Expected]]:
        liked = self.liked(line)
        found = [(liked[item.payer], item) for item in self.same(line) if item.payer in liked]
        return sorted(found, key=lambda each: (-each[0], _apart(each[1], line), _in_order(each[1].key)))

    def _by_name(
        self,
        line: BankLine,
        ranked: Sequence[tuple[float, Expected]],
        wanted: dict[Hashable, list[tuple[float, BankLine]]],
        sure: Grade,
    ) -> None:
        score, item = ranked[0]
        others = [(other, each) for other, each in ranked[1:] if each.payer != item.payer]
        rival = max((other for other, _ in others), default=0.0)
        # Anybody in the book whose name fits the words as well speaks against it, whatever that one owes.
        anybody = max((other for payer, other in self.liked(line).items() if payer != item.payer), default=0.0)
        for other, each in wanted[item.key]:
            if other > score + 3 and each.key != line.key and each.key in self.open_lines:
                return
        reasons = ("its words are like the name", "the amount is the same")
        if score >= SURE and score - anybody >= LEAD:
            self.take([line], [item], Grade.CERTAIN, *reasons)
        elif sure == Grade.LIKELY and score >= LIKE - 5 and score - rival >= LEAD / 2:
            self.take([line], [item], Grade.LIKELY, *reasons)
        elif sure == Grade.LIKELY and score >= LIKE and rival > 0:
            as_good = [[each] for other, each in others[:3] if score - other < LEAD / 2]
            self.take([line], [item], Grade.POSSIBLE, reasons[0], "another has as good a name", others=as_good)

    def by_batches(self) -> None:
        """A batch that is paid in one sum without a reference."""
        sums: dict[int, list[list[Expected]]] = defaultdict(list)
        for batch in sorted(self.of_batch):
            rows = self._open_of(batch)
            if len(rows) > 1:
                sums[sum(item.cents for item in rows)].append(rows)
        for line in list(self.left()):
            near = [rows for rows in sums.get(line.cents, ()) if all(_within(item, line) for item in rows)]
            near = [rows for rows in near if all(item.key in self.open_items for item in rows)]
            if len(near) == 1 and not self.same(line):
                self.take([line], near[0], Grade.LIKELY, f"{len(near[0])} that belong together come to it")

    def by_amounts(self) -> None:
        """The very amount about the day, where no name is to be looked for or none is told."""
        chosen = []
        for line in self.left():
            liked = self.liked(line)
            near = [item for item in self.same(line) if not item.names or liked.get(item.payer, 0) >= LIKE - 5]
            if not near:
                continue
            near.sort(key=lambda item: (_apart(item, line), _in_order(item.key)))
            chosen.append((line, near))
        for line, near in sorted(chosen, key=lambda each: (len(each[1]), _apart(each[1][0], each[0]), each[0].key)):
            open_ones = [item for item in near if item.key in self.open_items]
            if not open_ones or line.key not in self.open_lines:
                continue
            nearest = [item for item in open_ones if _apart(item, line) == _apart(open_ones[0], line)]
            apart = _apart(open_ones[0], line)
            days = "on the same day" if not apart else "a day apart" if apart == 1 else f"{apart} days apart"
            if len(nearest) == 1:
                self.take([line], nearest, Grade.LIKELY, "the amount is the same", days)
            else:
                self.take([line], nearest[:1], Grade.POSSIBLE, "the amount is the same", days,
                          others=[[item] for item in nearest[1:3]])  # fmt: skip

    def by_sums(self) -> None:
        """One line for several items of a kind, such as takings banked together."""
        pools: dict[str, list[Expected]] = defaultdict(list)
        for item in self.items:
            if not item.loose and (item.batch or not item.names):
                pools[item.batch or item.what.split()[0]].append(item)
        for line in list(self.left()):
            answers = []
            for pool in sorted(pools):
                near = [item for item in pools[pool] if item.key in self.open_items and _within(item, line)]
                answers += subsets(line, near)
            answers.sort(key=lambda each: (len(each), _apart_in_all(each, line)))
            if not answers:
                continue
            if len(answers) == 1 or len(answers[0]) < len(answers[1]):
                self.take([line], answers[0], Grade.LIKELY, f"{len(answers[0])} entries come to it")
            else:
                self.take([line], answers[0], Grade.POSSIBLE, "several entries come to it, and so do others",
                          others=answers[1:3])  # fmt: skip

    def by_parts(self) -> None:
        """Several lines for one item: the same words or name, and together its amount."""
        of_payer: dict[str, list[BankLine]] = defaultdict(list)
        for line in self.left():
            best = sorted(self.liked(line).items(), key=lambda each: -each[1])[:1]
            if best and best[0][1] >= LIKE:
                of_payer[best[0][0]].append(line)
        for payer in sorted(of_payer):
            lines = of_payer[payer]
            for item in self.by_payer[payer]:
                if item.key in self.open_items and not item.loose:
                    self._in_parts(item, [line for line in lines if line.key in self.open_lines])

    def _in_parts(self, item: Expected, lines: Sequence[BankLine]) -> None:
        near: dict[Hashable, BankLine] = {line.key: line for line in lines if _within(item, line)}
        answers = subsets(
            BankLine(0, item.day, item.cents, ""),
            [Expected(key, line.day, line.cents, "") for key, line in near.items()],
        )
        if answers and (len(answers) == 1 or len(answers[0]) < len(answers[1])):
            parts = sorted((near[part.key] for part in answers[0]), key=lambda line: (line.day, line.key))
            self.take(parts, [item], Grade.LIKELY, f"{len(parts)} lines come to it")

    def by_payers(self) -> None:
        """Money from a family whose name is plain, in parts or beyond what it owes: it pays its account."""
        for line in list(self.left()):
            if line.cents <= 0:
                continue
            ranked = sorted(self.liked(line).items(), key=lambda each: (-each[1], each[0]))
            ranked = [(payer, score) for payer, score in ranked if any(item.loose for item in self.by_payer[payer])]
            if not ranked or ranked[0][1] < LIKE:
                continue
            payer, score = ranked[0]
            rival = ranked[1][1] if len(ranked) > 1 else 0.0
            owed = [item for item in self.by_payer[payer] if item.loose]
            standing = [each for each in owed if each.key in self.open_items]
            item, like = (standing or owed)[0], score >= SURE - 6 and score - rival >= LEAD
            answers = subsets(line, standing)
            if answers and like:
                self.take([line], answers[0], Grade.LIKELY, "its words are like the name",
                          f"{len(answers[0])} of its fees come to it")  # fmt: skip
                continue
            grade = Grade.LIKELY if like else Grade.POSSIBLE
            self.take([line], [item], grade, "its words are like the name", "the amount is another")


def _pairs(word: str) -> set[str]:
    """Each two letters that follow each other, and the first and the last one."""
    return {f"{first}{second}" for first, second in pairwise(f"^{word}$")} if len(word) > 2 else set()


def _apart(item: Expected, line: BankLine) -> int:
    return abs((line.day - item.day).days)


def _apart_in_all(items: Iterable[Expected], line: BankLine) -> int:
    return sum(_apart(item, line) for item in items)


def _within(item: Expected, line: BankLine) -> bool:
    return -item.early <= (line.day - item.day).days <= item.late


def subsets(line: BankLine, items: Sequence[Expected]) -> list[tuple[Expected, ...]]:
    """Up to three sets of items that come to the line's amount exactly: the fewest, then the nearest, first.

    Only the nearest `MOST_TRIED` items of the line's sign are tried, at most `MOST_IN_A_SUM` together, for at most
    `MOST_STEPS` steps; beyond that it says nothing rather than something unproven.
    """
    near = sorted(
        (item for item in items if (item.cents > 0) == (line.cents > 0) and abs(item.cents) < abs(line.cents)),
        key=lambda item: (_apart(item, line), -abs(item.cents), _in_order(item.key)),
    )[:MOST_TRIED]
    near.sort(key=lambda item: (-abs(item.cents), _apart(item, line), _in_order(item.key)))
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
            sets.sort(
                key=lambda each: (sum(_apart(item, line) for item in each), [_in_order(item.key) for item in each])
            )
            return sets[:3]
    return []


def match(lines: Iterable[BankLine], items: Iterable[Expected]) -> list[Proposal]:
    """What explains the lines, each line and each item used at most once among the certain and likely."""
    return Matcher(list(lines), list(items)).run()
