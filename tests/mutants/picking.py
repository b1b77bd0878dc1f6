"""Which modules are looked at, which changes of them are tried, and which are named or judged by somebody."""

import ast
import hashlib
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from pathlib import Path

from tests.mutants.changes import FUNCTIONS, Change, Text, changes_of, constants_in

HOUSE = Path(__file__).resolve().parent.parent.parent
HERE = Path(__file__).resolve().parent
ROOMS = ("ledger", "fees", "membership", "courses", "bank", "entryfund", "rangeday", "yearend", "reports")
LEFT_OUT = {
    "admin", "apps", "forms", "management", "migrations", "personal", "room", "rules", "signals", "urls", "views",
    "appearance", "calendar", "certificate", "demo", "letters", "pages", "papers", "payments", "sheets", "words",
    "workbook",
}  # fmt: skip
"""What is declared and not done, and what only words and layout hang on."""


@dataclass(frozen=True)
class Mutant:
    """A change of a module; `before` and `after` are the lines it touches, each run of spaces as one."""

    module: str
    change: Change
    line: int
    before: str
    after: str

    @property
    def room(self) -> str:
        return self.module.partition(".")[0]

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What it is known by, wherever it stands in the file."""
        return self.module, self.change.function, self.before, self.after

    @property
    def source(self) -> str:
        """The whole module with the change."""
        return read(self.module).with_change(self.change)

    def __str__(self) -> str:
        return f"{self.module}:{self.line} {self.change.function}: {self.before} → {self.after}"


def path_of(module: str) -> str:
    """From "ledger.services", relative to the house."""
    path = f"clubdesk/{module.replace('.', '/')}"
    return f"{path}.py" if (HOUSE / f"{path}.py").exists() else f"{path}/__init__.py"


@lru_cache
def read(module: str) -> Text:
    return Text((HOUSE / path_of(module)).read_text())


def modules(wanted: Sequence[str] = ROOMS) -> list[str]:
    """Those of the rooms, or parts of rooms, that are wanted: "ledger", "ledger.services"."""
    found = []
    for path in sorted(path for room in ROOMS for path in (HOUSE / "clubdesk" / room).rglob("*.py")):
        inside = path.relative_to(HOUSE / "clubdesk").with_suffix("").parts
        if not LEFT_OUT & set(inside):
            found.append(".".join(part for part in inside if part != "__init__"))
    return [module for module in found if any(f"{module}.".startswith(f"{each}.") for each in wanted)]


def mutants_of(module: str, text: Text | None = None) -> Iterator[Mutant]:
    text = text or read(module)
    for change in sorted(changes_of(text), key=lambda each: (each.start, each.end, each.after)):
        yield _mutant(module, text, change)


def pick(wanted: Sequence[str], number: int, seed: int) -> list[Mutant]:
    """So many at random. The order hangs on the seed and on each change itself, so that an edit moves no other."""
    count: Counter[tuple[str, str, str, str]] = Counter()
    ranked = []
    for module in modules(wanted):
        for mutant in mutants_of(module):
            count[mutant.key] += 1
            ranked.append((_rank(seed, *mutant.key, str(count[mutant.key])), mutant))
    ranked.sort(key=lambda each: each[0])
    return list(islice(_that_compile(mutant for _, mutant in ranked), number))


def _rank(seed: int, *words: str) -> str:
    return hashlib.sha256("\n".join((str(seed), *words)).encode()).hexdigest()


def _that_compile(mutants: Iterable[Mutant]) -> Iterator[Mutant]:
    for mutant in mutants:
        try:
            ast.parse(mutant.source)
        except SyntaxError:
            continue
        yield mutant


def _mutant(module: str, text: Text, change: Change) -> Mutant:
    first = text.bytes.rfind(b"\n", 0, change.start) + 1
    last = text.bytes.find(b"\n", change.end)
    before, after = text.bytes[first:last], text.bytes[first : change.start] + change.after.encode()
    after += text.bytes[change.end : last]
    return Mutant(module, change, text.line_at(change.start), as_one_line(before.decode()), as_one_line(after.decode()))


def as_one_line(text: str) -> str:
    return " ".join(text.split())


def named(where: str, before: str, after: str) -> Mutant:
    """The change of `before`, which stands once in "module:function" (or "module:CONSTANT"), to `after`.

    Raises LookupError where it does not stand there, or more than once.
    """
    module, _, name = where.partition(":")
    text = read(module)
    node = _find(text.tree.body, name.split("."))
    if node is None:
        raise LookupError(f"{where} is not there.")
    start, end = text.start(node), text.end(node)
    pattern = r"\s+".join(re.escape(word) for word in before.split()).encode()
    found = list(re.finditer(pattern, text.bytes[start:end]))
    if len(found) != 1:
        raise LookupError(f"“{before}” stands {len(found)} times in {where}.")
    place, until = start + found[0].start(), start + found[0].end()
    span = (text.line_at(place), text.line_at(until))
    return _mutant(module, text, Change(name, "named", place, until, after, (span,)))


def _find(block: Sequence[ast.stmt], names: Sequence[str]) -> ast.stmt | None:
    for statement in block:
        if names[0] in constants_in(statement):
            return statement
        if isinstance(statement, (*FUNCTIONS, ast.ClassDef)) and statement.name == names[0]:
            return _find(statement.body, names[1:]) if names[1:] else statement
    return None


@dataclass(frozen=True)
class Named:
    """A change that the tests must notice, and which of them."""

    where: str
    before: str
    after: str
    why: str
    tests: tuple[str, ...]


def named_changes() -> list[Named]:
    rows = tomllib.loads((HERE / "named.toml").read_text()).get("change", [])
    return [Named(row["where"], row["before"], row["after"], row["why"], tuple(row["tests"])) for row in rows]


def judged() -> dict[tuple[str, str, str, str], str]:
    """Why a survivor is no hole, by its key."""
    rows = tomllib.loads((HERE / "judged.toml").read_text()).get("equivalent", [])
    found = {}
    for row in rows:
        module, _, function = row["where"].partition(":")
        found[module, function, as_one_line(row["before"]), as_one_line(row["after"])] = row["reason"]
    return found
