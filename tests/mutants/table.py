"""What came of a run: kept as JSON, and told as a table."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.mutants.picking import ROOMS, Mutant, judged
from tests.mutants.trying import Try

AIM, HIGHER_AIM = 90, {"ledger": 95, "fees": 95, "reports": 95}
"""Of 100 changes that mean something, so many are to be noticed."""


@dataclass(frozen=True)
class Row:
    """`outcome` is killed, survived, untested, broken, or doubtful where its killer fails without the change too."""

    module: str
    line: int
    function: str
    kind: str
    before: str
    after: str
    outcome: str
    by: str
    tests: int
    seconds: float

    @classmethod
    def of(cls, attempt: Try, mutant: Mutant) -> "Row":
        change = mutant.change
        return cls(
            mutant.module, mutant.line, change.function, change.kind, mutant.before, mutant.after,
            attempt.outcome, attempt.by, len(attempt.tests), attempt.took,
        )  # fmt: skip

    @property
    def key(self) -> tuple[str, str, str, str]:
        return self.module, self.function, self.before, self.after

    def __str__(self) -> str:
        by = f"  ({self.by})" if self.by else ""
        where = f"{self.outcome:10} {self.module}:{self.line} {self.function}, {self.kind}{by}"
        return f"{where}\n             {self.before}\n           → {self.after}"


def write(path: Path, seed: int, rows: Sequence[Row]) -> None:
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps({"seed": seed, "mutants": [vars(row) for row in rows]}, indent=1, ensure_ascii=False))


def read(path: Path) -> list[Row]:
    return [Row(**row) for row in json.loads(path.read_text())["mutants"]]


def told(rows: Iterable[Row], *, only_left: bool = False) -> str:
    """The table, a room's sum at its foot; with `only_left` of the changes those that nobody noticed or judged."""
    reasons = judged()
    lines, each_room = [], {room: Tally() for room in ROOMS}
    for row in sorted(rows, key=lambda each: (each.module, each.line)):
        reason = reasons.get(row.key, "") if row.outcome != "killed" else ""
        each_room[row.module.partition(".")[0]].add(row.outcome, bool(reason))
        if not only_left or not (reason or row.outcome == "killed"):
            lines.append(f"{row}" + (f"\n           judged equivalent: {reason}" if reason else ""))
    lines += [f"{room:12}{tally.words(HIGHER_AIM.get(room, AIM))}" for room, tally in each_room.items() if tally.tried]
    return "\n".join(lines)


@dataclass
class Tally:
    tried: int = 0
    killed: int = 0
    equivalent: int = 0

    def add(self, outcome: str, is_judged: bool) -> None:
        if outcome != "broken":
            self.tried += 1
            self.killed += outcome == "killed"
            self.equivalent += is_judged

    def words(self, aim: int) -> str:
        meant = self.tried - self.equivalent
        share = 100 * self.killed / meant if meant else 100.0
        short = "" if share >= aim else ": SHORT"
        judged_so = f", {self.equivalent} more judged equivalent" if self.equivalent else ""
        return f"{self.killed:4} of {meant:4} killed ({share:.1f}, aim {aim}{short}){judged_so}"
