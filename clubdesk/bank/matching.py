"""What explains the lines of a statement: pure, no database, the same answer in whatever order lines and items come.

It is told the lines and what the rooms expect: entries that no line explains yet, and what is owed and not recorded.
It looks by reference, by amount with a name or a day, and by sums; and says of each answer why, and how sure it is:

- *certain*: a reference or a full name speaks for it, and no word of the line against it,
- *likely*: the amount and the days agree and there is no second answer, or a name is only like,
- *possible*: there are several answers as good as each other, or part of what is owed, or another name.
"""

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from clubdesk.bank import oddities
from clubdesk.bank.answers import BankLine, Grade, Habit, Proposal, apart, in_order, within
from clubdesk.bank.sums import MOST_IN_A_SUM, MOST_STEPS, MOST_TRIED, subsets
from clubdesk.bank.wording import (
    TAKEN_BACK,
    Name,
    joined,
    likeness,
    named_in_full,
    pairs,
    plain,
    unexplained,
    words_of,
)
from clubdesk.expecting import Expected

__all__ = [
    "MOST_IN_A_SUM", "MOST_STEPS", "MOST_TRIED", "BankLine", "Expected", "Grade", "Habit", "Matcher", "Proposal",
    "likeness", "match", "subsets", "words_of",
]  # fmt: skip

SURE, LIKE, LEAD = 93, 80, 12
LATELY, COMMON = 60, 3
"""A name alone is certain for so many days after something was owed, of a family name that so few in the book have."""


@dataclass
class Matcher:
    """The book's expectations, indexed; lines and items are used up as they are matched."""

    lines: list[BankLine]
    items: list[Expected]
    others: Mapping[str, Iterable[Name]] = field(default_factory=dict)
    """Names of everybody else in the book, by the payer that they would be."""
    habits: Sequence[Habit] = ()
    club: str = ""
    found: list[Proposal] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.lines = sorted(self.lines, key=lambda each: (each.day, each.cents, each.text, each.key))
        self.items = sorted(self.items, key=lambda each: (each.day, each.cents, in_order(each.key)))
        self.words = {line.key: words_of(line.text) for line in self.lines}
        self.open_lines = {line.key for line in self.lines}
        self.doubted: set[int] = set()
        self.open_items = {each.key for item in self.items for each in (item, *item.parts)}
        self.of_amount: dict[int, list[Expected]] = defaultdict(list)
        self.club_words = frozenset(words_of(self.club))
        self.by_reference: dict[str, list[Expected]] = defaultdict(list)
        self.exact: dict[tuple[str, int], list[Expected]] = defaultdict(list)
        self.nameless: dict[int, list[Expected]] = defaultdict(list)
        self.named: dict[tuple[int, str], list[Expected]] = defaultdict(list)
        self.by_payer: dict[str, list[Expected]] = defaultdict(list)
        self.of_batch: dict[str, list[Expected]] = defaultdict(list)
        names: dict[str, set[tuple[str, str]]] = defaultdict(set)
        for item in self.items:
            self.of_amount[item.cents].append(item)
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
        for payer, known in self.others.items():
            names[payer].update(known)
        self.names = {payer: tuple(sorted(found)) for payer, found in names.items()}
        self.longest = max((len(each.split()) for each in self.by_reference), default=0)
        self._index_names()
        self.likes: dict[int, dict[str, float]] = {}

    def _index_names(self) -> None:
        """Payers by the letter pairs of their family names: a line is held only against names like its words."""
        self.pairs: dict[str, list[str]] = defaultdict(list)
        self.bearers: Counter[str] = Counter()
        for payer, names in self.names.items():
            self.bearers.update({plain(name)[1] for name in names})
            for pair in {pair for name in names for pair in pairs(plain(name)[1])}:
                self.pairs[pair].append(payer)

    def run(self) -> list[Proposal]:
        oddities.by_corrections(self)
        for step in (self.by_references, self.by_names, self.by_batches, self.by_amounts, self.by_sums, self.by_parts):
            step()
        for odd in (oddities.by_splits, oddities.by_lists, oddities.by_bounces, oddities.by_habits):
            odd(self)
        self.by_payers()
        oddities.by_amount_alone(self)
        found = oddities.with_same_day(self)
        return sorted(found, key=lambda each: (each.lines[0].day, each.lines[0].key))

    # What is left to match

    def left(self) -> Iterator[BankLine]:
        for line in self.lines:
            if line.key in self.open_lines:
                yield line

    def same(self, line: BankLine) -> list[Expected]:
        """Open items of the line's very amount within their days: those without a name, and those of a like name."""
        groups = [self.nameless.get(line.cents, ())]
        groups += [self.named.get((line.cents, payer), ()) for payer in self.liked(line)]
        near = [item for rows in groups for item in rows if item.key in self.open_items and within(item, line)]
        return [item for item in near if self._said(item, line)]

    def _said(self, item: Expected, line: BankLine) -> bool:
        """Whether the line says what must be said of the item."""
        return not item.says or not set(item.says).isdisjoint(self.words[line.key])

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
            spelt = {pair for word in joined(words) for pair in pairs(word)}
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
            found = {key: item for key, item in found.items() if self._said(item, line)}
            if found:
                return sorted(found.values(), key=lambda each: (each.day, in_order(each.key)))
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
        exact = sorted((item for item in spoken if item.cents == line.cents), key=lambda item: apart(item, line))
        if exact:
            if len({item.payer or item.key for item in exact}) > 1:
                return False
            of = "its reference says so"
            self.take([line], exact[:1], self._by_its_word(line, exact[:1]), of, "the amount is the same")
            return True
        batches = [self._open_of(batch) for batch in sorted({item.batch for item in spoken if item.batch})]
        whole = [rows for rows in batches if sum(item.cents for item in rows) == line.cents]
        if len(whole) != 1:
            return False
        grade = self._by_its_word(line, whole[0])
        self.take([line], whole[0], grade, "its reference says so", f"{len(whole[0])} payments come to it")
        return True

    def _goes_back(self, line: BankLine) -> bool:
        """Whether its words speak of money that goes back; what the club pays out may well be called a refund."""
        back = TAKEN_BACK if line.cents > 0 else TAKEN_BACK - {"refund", "refunded"}
        return not back.isdisjoint(self.words[line.key])

    def _by_its_word(self, line: BankLine, items: Sequence[Expected]) -> Grade:
        """A reference is certain, unless the line speaks of money going back or names somebody else in full."""
        payers = {item.payer for item in items}
        others = (name for payer in self.liked(line) if payer not in payers for name in self.names[payer])
        doubtful = line.key in self.doubted or self._goes_back(line) or any(item.says for item in items)
        if doubtful or any(named_in_full(name, self.words[line.key]) for name in others):
            return Grade.LIKELY
        return Grade.CERTAIN

    def _by_its_name(self, line: BankLine, item: Expected) -> Grade:
        """A full name is certain where every other word is explained; less than that is likely, or, where another word
        speaks of something else, only possible.
        """
        words, names = self.words[line.key], self.names[item.payer]
        known = {part for name in names for part in plain(name)} | self.club_words | {*words_of(item.what)}
        odd = unexplained(words, known)
        in_full = [name for name in names if named_in_full(name, words)]
        if not in_full:
            return Grade.POSSIBLE if odd else Grade.LIKELY
        if all(self.bearers[plain(name)[1]] > COMMON for name in in_full):
            return Grade.LIKELY
        doubtful = line.key in self.doubted or self._goes_back(line) or item.says or apart(item, line) > LATELY
        return Grade.LIKELY if odd or doubtful else Grade.CERTAIN

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
            self.take([line], answers[0], self._by_its_word(line, answers[0]), "its reference says so", together)
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
        return sorted(found, key=lambda each: (-each[0], apart(each[1], line), in_order(each[1].key)))

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
            grade = self._by_its_name(line, item)
            sure_by = ["no other word speaks against it"] if grade == Grade.CERTAIN else []
            self.take([line], [item], grade, *reasons, *sure_by)
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
            near = [rows for rows in sums.get(line.cents, ()) if all(within(item, line) for item in rows)]
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
            near.sort(key=lambda item: (apart(item, line), in_order(item.key)))
            chosen.append((line, near))
        for line, near in sorted(chosen, key=lambda each: (len(each[1]), apart(each[1][0], each[0]), each[0].key)):
            open_ones = [item for item in near if item.key in self.open_items]
            if not open_ones or line.key not in self.open_lines:
                continue
            nearest = [item for item in open_ones if apart(item, line) == apart(open_ones[0], line)]
            between = apart(open_ones[0], line)
            days = "on the same day" if not between else "a day apart" if between == 1 else f"{between} days apart"
            if len(nearest) == 1:
                self.take([line], nearest, Grade.LIKELY, "the amount is the same", days)
            else:
                self.take([line], nearest[:1], Grade.POSSIBLE, "the amount is the same", days,
                          others=[[item] for item in nearest[1:3]])  # fmt: skip

    def by_sums(self) -> None:
        """One line for several items of a kind, such as takings banked together."""
        pools: dict[str, list[Expected]] = defaultdict(list)
        for item in self.items:
            if not item.loose and not item.says and (item.batch or not item.names):
                pools[item.batch or item.what.split()[0]].append(item)
        for line in list(self.left()):
            answers = []
            for pool in sorted(pools):
                near = [item for item in pools[pool] if item.key in self.open_items and within(item, line)]
                answers += subsets(line, near)
            answers.sort(key=lambda each: (len(each), sum(apart(item, line) for item in each)))
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
                if item.key in self.open_items and not item.loose and not item.says:
                    self._in_parts(item, [line for line in lines if line.key in self.open_lines])

    def _in_parts(self, item: Expected, lines: Sequence[BankLine]) -> None:
        near: dict[Hashable, BankLine] = {line.key: line for line in lines if within(item, line)}
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


def match(
    lines: Iterable[BankLine],
    items: Iterable[Expected],
    others: Mapping[str, Iterable[Name]] | None = None,
    habits: Sequence[Habit] = (),
    club: str = "",
) -> list[Proposal]:
    """What explains the lines, each line and each item used at most once among the certain and likely.

    `others` are the names of everybody in the book, `habits` what earlier lines were booked to, the latest first; words
    of the name of the `club` speak against nothing.
    """
    return Matcher(list(lines), list(items), others or {}, habits, club).run()
