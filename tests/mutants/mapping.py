"""Which tests pass through which line, and how long each takes: found out once under coverage, and kept."""

import hashlib
import json
import os
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import pytest
from coverage import CoverageData

from tests.mutants.picking import HOUSE, ROOMS, Mutant, modules, path_of

KEPT = HOUSE / ".mutants"
TIMES, LINES, CONFIG = KEPT / "times.json", KEPT / "lines", KEPT / "coverage.ini"
MOST_TESTS, MOST_SECONDS = 40, 60.0


class Times:
    """What each test that passed took in all, in seconds."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self.failed: set[str] = set()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] += report.duration
        if not report.passed:
            self.failed.add(report.nodeid)


def make(tests: Sequence[str], jobs: int) -> int:
    """Run the suite under coverage, or only the `tests` named, added to what is known. Returns how many passed."""
    KEPT.mkdir(exist_ok=True)
    source = "".join(f"    clubdesk/{room}\n" for room in ROOMS)
    CONFIG.write_text(f"[run]\nrelative_files = True\nsource =\n{source}")
    known: dict[str, float] = {}
    adds = bool(tests) and TIMES.exists()
    if adds:
        kept = Map.read()
        if kept.stale(modules()):
            raise SystemExit("The code changed since the map was made; make all of it.")
        known = kept.seconds
    os.environ |= {"COVERAGE_FILE": str(LINES), "COVERAGE_CORE": "ctrace"}
    times = Times()
    options = ["-n", str(jobs), "-p", "no:randomly", "--cov", f"--cov-config={CONFIG}", "--cov-context=test"]
    options += ["--cov-report=", *(["--cov-append"] if adds else [])]
    pytest.main([*options, *tests], plugins=[times])
    passed = {test: seconds for test, seconds in times.seconds.items() if test not in times.failed}
    known = {test: seconds for test, seconds in known.items() if test not in times.failed} | passed
    digests = {module: _digest(module) for module in modules()}
    TIMES.write_text(json.dumps({"modules": digests, "seconds": known}, indent=1))
    return len(passed)


def _digest(module: str) -> str:
    return hashlib.sha256((HOUSE / path_of(module)).read_bytes()).hexdigest()


@dataclass
class Map:
    digests: dict[str, str]
    seconds: dict[str, float]

    @classmethod
    def read(cls) -> "Map":
        if not TIMES.exists():
            raise SystemExit("There is no map yet; make one by `python -m tests.mutants map`.")
        kept = json.loads(TIMES.read_text())
        return cls(kept["modules"], kept["seconds"])

    def stale(self, wanted: Iterable[str]) -> list[str]:
        """Modules that changed since."""
        return [module for module in wanted if self.digests.get(module) != _digest(module)]

    def seconds_of(self, tests: Iterable[str]) -> float:
        return sum(self.seconds[test] for test in tests)

    @cached_property
    def _lines(self) -> CoverageData:
        found = CoverageData(str(LINES))
        found.read()
        return found

    @cached_property
    def _tests(self) -> dict[str, dict[int, set[str]]]:
        return {}

    def through(self, module: str) -> dict[int, set[str]]:
        """The tests by line of a module."""
        if module not in self._tests:
            rows = self._lines.contexts_by_lineno(path_of(module))
            self._tests[module] = {line: {each.rpartition("|")[0] for each in tests} for line, tests in rows.items()}
        return self._tests[module]

    def tests_for(self, mutant: Mutant) -> list[str]:
        """The tests that pass through the change: those of its room first, the fastest first."""
        lines, own = self.through(mutant.module), f"tests/{mutant.room}/"
        found: set[str] = set()
        for first, last in mutant.change.spans:
            found.update(*(lines.get(line, ()) for line in range(first, last + 1)))
        ranked = sorted(
            found & self.seconds.keys(), key=lambda test: (not test.startswith(own), self.seconds[test], test)
        )
        chosen: list[str] = []
        total = 0.0
        for test in ranked[:MOST_TESTS]:
            total += self.seconds[test]
            if chosen and total > MOST_SECONDS:
                break
            chosen.append(test)
        return chosen
