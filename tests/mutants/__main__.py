"""`python -m tests.mutants map|run|show|apply|named`: see `--help` of each."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from tests.mutants import mapping, picking, table, trying
from tests.mutants.trying import Try

SECONDS_FOR_NAMED = 900.0


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=sys.modules["tests.mutants"].__doc__)
    commands = parser.add_subparsers(required=True)

    command = commands.add_parser("map", help="find out which tests pass through which line")
    command.add_argument("tests", nargs="*", help="only these, added to what is known")
    command.add_argument("--jobs", type=int, default=2)
    command.set_defaults(act=make_map)

    command = commands.add_parser("run", help="try changes picked at random")
    command.add_argument("--rooms", default=",".join(picking.ROOMS), help="rooms or modules, by commas")
    command.add_argument("--number", type=int, default=600)
    command.add_argument("--seed", type=int, default=4010)
    command.add_argument("--minutes", type=float, default=60)
    command.add_argument("--jobs", type=int, default=2)
    command.add_argument("--out", type=Path, default=mapping.KEPT / "run.json")
    command.add_argument("--only-list", action="store_true", help="say which would be tried, and with how many tests")
    command.set_defaults(act=run)

    command = commands.add_parser("show", help="the table of a run, and how many were killed in each room")
    command.add_argument("file", type=Path, nargs="?", default=mapping.KEPT / "run.json")
    command.add_argument("--left", action="store_true", help="only what nobody noticed or judged")
    command.set_defaults(act=show)

    command = commands.add_parser("apply", help="one change; succeeds where the tests fail on it and pass without")
    command.add_argument("where", help="module:function, such as ledger.services:reverse")
    command.add_argument("before", help="words that stand there once")
    command.add_argument("after")
    command.add_argument("tests", nargs="+")
    command.set_defaults(act=apply)

    command = commands.add_parser("named", help="the same for each change of named.toml")
    command.add_argument("--jobs", type=int, default=2)
    command.set_defaults(act=apply_named)

    options = parser.parse_args()
    return int(options.act(options) or 0)


def make_map(options: argparse.Namespace) -> None:
    print(f"{mapping.make(options.tests, options.jobs)} tests passed and are known.")


def run(options: argparse.Namespace) -> int:
    known = mapping.Map.read()
    mutants = picking.pick(options.rooms.split(","), options.number, options.seed)
    if stale := known.stale(sorted({mutant.module for mutant in mutants})):
        print(f"Changed since the map was made, so make it again: {', '.join(stale)}")
        return 2
    tries = []
    for mutant in mutants:
        tests = known.tests_for(mutant)
        tries.append(Try(mutant, tests, 20 + 4 * known.seconds_of(tests)))
    if options.only_list:
        print("\n".join(f"{len(each.tests):3} tests  {each.mutant}" for each in tries))
        return 0
    results = Results(known, options, len(tries))
    trying.run(tries, at_once=options.jobs, seconds=options.minutes * 60, done=results.note, last=results.killers_alone)
    print(table.told(results.rows, only_left=True))
    return 0


@dataclass
class Results:
    """What a run has found so far, written down after each change."""

    known: mapping.Map
    options: argparse.Namespace
    wanted: int
    rows: list[table.Row] = field(default_factory=list)

    def note(self, attempt: Try) -> None:
        if attempt.mutant:
            self.rows.append(table.Row.of(attempt, attempt.mutant))
            print(f"{len(self.rows):4} of {self.wanted}  {self.rows[-1]}", flush=True)
        else:
            failing = attempt.by.splitlines()
            self.rows = [replace(row, outcome="doubtful") if row.by in failing else row for row in self.rows]
        table.write(self.options.out, self.options.seed, self.rows)

    def killers_alone(self) -> Try | None:
        """The tests that failed on some change, once more without any."""
        killers = sorted({row.by for row in self.rows} & self.known.seconds.keys())
        return Try(None, killers, 60 + 4 * self.known.seconds_of(killers)) if killers else None


def show(options: argparse.Namespace) -> None:
    print(table.told(table.read(options.file), only_left=options.left))


def apply(options: argparse.Namespace) -> int:
    return _try_named([picking.Named(options.where, options.before, options.after, "", tuple(options.tests))], 1)


def apply_named(options: argparse.Namespace) -> int:
    return _try_named(picking.named_changes(), options.jobs)


def _try_named(changes: Sequence[picking.Named], jobs: int) -> int:
    """Each change's tests once without it, when they must pass, and once with it, when one must fail."""
    tries, lost = [], 0
    for change in changes:
        try:
            mutant = picking.named(change.where, change.before, change.after)
        except LookupError as fault:
            print(f"lost       {fault}")
            lost += 1
            continue
        tries += [Try(None, change.tests, SECONDS_FOR_NAMED), Try(mutant, change.tests, SECONDS_FOR_NAMED)]
    files = {test.partition("::")[0] for each in tries for test in each.tests}
    tests = sorted(file for file in files if (picking.HOUSE / file).exists())
    if tests:
        trying.run(tries, at_once=jobs, seconds=float("inf"), done=lambda attempt: None, tests=tests)
    wrong = lost
    for plain, changed in zip(tries[::2], tries[1::2], strict=True):
        noticed = plain.outcome == "survived" and changed.outcome == "killed"
        wrong += not noticed
        print(f"{'noticed' if noticed else 'MISSED':10} {changed.mutant}")
        if noticed:
            print(f"           by {changed.by}")
        elif changed.tests:
            print(f"           without it {plain.outcome} {plain.by}; with it {changed.outcome} {changed.by}")
        else:
            print("           no test is named")
    return min(wrong, 1)


if __name__ == "__main__":
    sys.exit(main())
