"""The generated files read as the book reads them, and what the matcher makes of each month, held against the truth."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date

from clubdesk.bank.answers import BankLine, Grade, Habit, Proposal
from clubdesk.bank.goingback import COMES_BACK
from clubdesk.bank.matching import match
from clubdesk.bank.reading import read
from clubdesk.expecting import Expected
from clubdesk.money import CENT
from tests.bank.oddbank.club import FIRST, Club, months_on
from tests.bank.oddbank.facts import Fact, Said, Truth, Year

WINDOWS = {
    "fee": (60, 400), "entry": (5, 12), "banking": (0, 12), "item": (2, 12), "list": (0, 150), "voucher": (0, 150),
    "bounce": (0, 60), "transfer": (5, 5),
}  # fmt: skip
"""How many days before and after it the book looks for each, as the rooms tell it."""
CERTAIN_RIGHT, CERTAIN_WRONG, SHOWN, OTHERS, NOTHING = ("certain", "certain, wrong", "shown", "only others", "nothing")
COLUMNS = (CERTAIN_RIGHT, CERTAIN_WRONG, SHOWN, OTHERS, NOTHING)


@dataclass
class Judged:
    """By the kind of line, how many were answered how; and how many pending lines came in too early or twice."""

    kinds: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    waited: int = 0
    lines: int = 0

    def count(self, column: str, with_answer: bool = True) -> int:
        return sum(counts[column] for kind, counts in self.kinds.items() if (kind not in WITHOUT_ANSWER) == with_answer)

    @property
    def with_answer(self) -> int:
        return sum(self.count(column) for column in COLUMNS)


WITHOUT_ANSWER = ("a stranger", "new to the book")


def judged(seed: int, months: int = 12) -> Judged:
    """The year of the seed, month by month: each month's file is read, asked about, and put right by the truth."""
    club = Club(seed, months)
    year, found = club.make(), Judged()
    seen: Counter[tuple[date, int, str]] = Counter()
    by_line = _by_line(year)
    used: set[str] = set()
    for month, content in enumerate(club.files()):
        statement = read(content, currency="AUD")
        found.waited += len(statement.pending)
        fresh, in_file = [], Counter[tuple[date, int, str]]()
        for line in statement.lines:
            key = (line.date, int(line.amount / CENT), line.text)
            in_file[key] += 1
            if in_file[key] > seen[key]:
                fresh.append(by_line[key][in_file[key] - 1])
        seen |= in_file
        found.lines += len(fresh)
        _ask(year, fresh, used, months_on(FIRST, month + 1), found)
    return found


def _by_line(year: Year) -> dict[tuple[date, int, str], list[Said]]:
    found: dict[tuple[date, int, str], list[Said]] = defaultdict(list)
    for line in sorted(year.lines, key=lambda line: (line.day, line.number)):
        found[line.day, line.cents, line.words].append(line)
    return found


def _ask(year: Year, fresh: list[Said], used: set[str], until: date, found: Judged) -> None:
    items = {
        fact.key: _expected(fact)
        for fact in year.facts
        if fact.day < until and fact.key not in used and not (fact.parts and fact.parts[0].key in used)
    }
    lines = [BankLine(line.number, line.day, line.cents, line.words) for line in fresh]
    proposals = match(
        lines, items.values(), others=year.everybody, habits=_habits(year, {line.number for line in fresh}, until),
        club="Wattle Bend Archers",
    )  # fmt: skip
    told = {line.key: proposal for proposal in proposals for line in proposal.lines}
    for line in fresh:
        truth = year.truth[line.number]
        found.kinds[truth.kind][_column(year, truth, told.get(line.number), items)] += 1
        used |= truth.keys


def _habits(year: Year, now: set[int], until: date) -> list[Habit]:
    """Lines of earlier months that were booked, the latest first."""
    earlier = [
        line for line in year.lines if line.number in year.booked and line.number not in now and line.day < until
    ]
    earlier.sort(key=lambda line: (line.day, line.number), reverse=True)
    return [
        Habit(f"like {year.booked[line.number]}", line.words, line.cents, f"as before: {year.booked[line.number]}")
        for line in earlier
    ]


def _expected(fact: Fact) -> Expected:
    early, late = WINDOWS[fact.kind]
    return Expected(
        key=fact.key, day=fact.day, cents=fact.cents, what=fact.what, names=fact.names, references=fact.references,
        batch=fact.batch, payer=fact.payer, early=early, late=late, loose=fact.kind == "fee",
        parts=tuple(map(_expected, fact.parts)), says=COMES_BACK if fact.kind == "bounce" else (),
    )  # fmt: skip


def _column(year: Year, truth: Truth, proposal: Proposal | None, items: dict[str, Expected]) -> str:
    if proposal is None:
        return NOTHING
    chosen = _is_right(year, truth, proposal, proposal.items, items)
    if proposal.grade == Grade.CERTAIN:
        return CERTAIN_RIGHT if chosen else CERTAIN_WRONG
    others = any(_is_right(year, truth, proposal, each, items) for each in proposal.others)
    return SHOWN if chosen or others else OTHERS


def _is_right(
    year: Year, truth: Truth, proposal: Proposal, answer: tuple[Expected, ...], items: dict[str, Expected]
) -> bool:
    """The very items, or others of the same payers, amounts and words; of a family any of its fees."""
    if truth.with_lines:
        said = {line.number: (line.day, line.cents, line.words) for line in year.lines}
        wanted_lines = sorted(said[number] for number in truth.with_lines)
        return wanted_lines == sorted((line.day, line.cents, line.text) for line in proposal.lines)
    if truth.of_family and all(item.loose for item in answer):
        return {item.payer for item in answer} == {truth.of_family}
    if all(key in items for key in truth.keys):
        wanted = sorted((item.payer or item.what, item.cents) for item in map(items.__getitem__, truth.keys))
        return bool(wanted) and wanted == sorted((item.payer or item.what, item.cents) for item in answer)
    if any(str(item.key).startswith("voucher ") for item in answer):
        return len(truth.keys) == len(answer)
    return truth.keys == {str(item.key) for item in answer}


def table(found: Judged) -> str:
    """The numbers by kind, a row each."""
    rows = [f"{'kind of line':34}" + "".join(f"{column:>15}" for column in COLUMNS)]
    for kind in sorted(found.kinds, key=lambda kind: (kind in WITHOUT_ANSWER, kind)):
        rows.append(f"{kind:34}" + "".join(f"{found.kinds[kind][column]:>15}" for column in COLUMNS))
    none, all_of_them = found.count(NOTHING), found.with_answer
    rows.append(
        f"{found.lines} lines; {all_of_them} have an answer in the book: {found.count(CERTAIN_RIGHT)} certain, "
        f"{found.count(SHOWN)} shown, {found.count(OTHERS)} other answers only, {none} none; {found.waited} waited."
    )
    return "\n".join(rows)
