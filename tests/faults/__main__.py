"""`python -m tests.faults kill|workload`: long runs, on the database that DATABASE_URL names; see `--help` of each."""

import argparse
import os
import sys
import time
from contextlib import nullcontext

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
django.setup()

from clubdesk import clock  # noqa: E402 - it needs the settings
from tests.faults.killing import kill  # noqa: E402
from tests.faults.stopping import of_its_own  # noqa: E402
from tests.faults.workload import workload  # noqa: E402
from tests.faults.writes import KINDS  # noqa: E402
from tests.worlds import keeping  # noqa: E402
from tests.worlds.day_one import TODAY  # noqa: E402


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=sys.modules["__main__"].__doc__)
    commands = parser.add_subparsers(required=True)
    command = commands.add_parser("kill", help="writes of each kind in a process that is killed at random")
    command.add_argument("--writes", type=int, default=500, help="of each kind")
    command.add_argument("--kind", choices=list(KINDS), action="append", help="only this one")
    command.set_defaults(act=kills)
    command = commands.add_parser("workload", help="eight people at once, killed and cut off, and others who read")
    command.add_argument("--minutes", type=float, default=10)
    command.add_argument("--stops", action="store_true", help="stop and start a PostgreSQL of its own meanwhile")
    command.set_defaults(act=works)
    options = parser.parse_args()
    with clock.on(TODAY):
        try:
            return int(options.act(options))
        finally:
            keeping.leave()


def kills(options: argparse.Namespace) -> int:
    faults = 0
    for name in options.kind or KINDS:
        keeping.enter("day_one")
        began, run = time.monotonic(), kill(KINDS[name], options.writes)
        print(f"{name}: {run} ({time.monotonic() - began:.0f} s)", *run.faults[:20], sep="\n    ", flush=True)
        faults += len(run.faults)
        keeping.spoil()
    return min(faults, 1)


def works(options: argparse.Namespace) -> int:
    keeping.enter("day_one")
    with of_its_own() if options.stops else nullcontext() as cluster:
        told = workload(60 * options.minutes, cluster)
    print(told, *told.faults[:20], sep="\n    ")
    for (verb, what), number in sorted(told.by_verb.items()):
        print(f"{number:7} {what:8} {verb}")
    return min(len(told.faults), 1)


if __name__ == "__main__":
    sys.exit(main())
