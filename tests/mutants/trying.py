"""Try changes in children of one process that has everything loaded and the tests collected.

A child begins as that process stands: it puts its one change in place of the loaded code, takes copies of the stored
books for itself, runs its tests up to the first that fails, and is gone. The files of the checkout stay as they are.
"""

import gc
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

import pytest

from tests.mutants.picking import HOUSE, Mutant, read
from tests.mutants.placing import loaded_functions, put_in_place

MOST_MEMORY = 6 * 1024**3
PASSED, BROKEN = "passed", "!"
OPTIONS = ["-q", "-q", "-s", "-p", "no:randomly", "-p", "no:cacheprovider", "-n", "0"]


@dataclass
class Try:
    """A change, or the code as it is, and the tests that must notice; `limit` in seconds."""

    mutant: Mutant | None
    tests: Sequence[str]
    limit: float
    outcome: str = ""
    """killed, survived, untested, or broken where the change could not be put in place."""
    by: str = ""
    took: float = 0.0


@dataclass
class Child:
    attempt: Try
    folder: Path
    pid: int
    pipe: int
    began: float = field(default_factory=time.monotonic)


class Trials:
    """A pytest plugin that runs the tries in place of the session's own loop, so many `at_once`.

    None begins after so many `seconds`; `done` is told of each that ended, and `last` asked for one more at the end.
    """

    def __init__(
        self,
        tries: Sequence[Try],
        at_once: int,
        seconds: float,
        done: Callable[[Try], None],
        last: Callable[[], Try | None],
    ) -> None:
        self.waiting, self.at_once, self.seconds, self.done, self.last = deque(tries), at_once, seconds, done, last
        self.children: list[Child] = []
        self.number = 0

    def pytest_configure(self) -> None:
        """The same examples each time, and none remembered of a change that is no more."""
        from hypothesis import settings

        settings.register_profile("mutants", database=None, derandomize=True, deadline=None)
        settings.load_profile("mutants")

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        if session.testsfailed:
            raise SystemExit("The tests could not be collected.")
        build_worlds(items_of([test for each in self.waiting for test in each.tests], _by_name(session)))
        loaded_functions()
        gc.freeze()  # a child that collects no garbage of ours shares our memory
        with tempfile.TemporaryDirectory(prefix="mutants") as folder:
            try:
                self._all(session, Path(folder), time.monotonic() + self.seconds)
                if one_more := self.last():
                    self.waiting = deque([one_more])
                    self._all(session, Path(folder), float("inf"))
            finally:
                for child in self.children:
                    os.killpg(child.pid, signal.SIGKILL)
                    os.waitpid(child.pid, 0)
        return True

    def _all(self, session: pytest.Session, folder: Path, until: float) -> None:
        while self.children or (self.waiting and time.monotonic() < until):
            while self.waiting and len(self.children) < self.at_once and time.monotonic() < until:
                self._begin(session, folder, self.waiting.popleft())
            self._look()
            time.sleep(0.01)

    def _begin(self, session: pytest.Session, above: Path, attempt: Try) -> None:
        items = items_of(attempt.tests, _by_name(session))
        if not items:
            attempt.outcome = "untested"
            self.done(attempt)
            return
        self.number += 1
        folder = above / f"m{os.getpid()}_{self.number}"
        folder.mkdir()
        reading, writing = os.pipe()
        pid = os.fork()
        if not pid:
            os.close(reading)
            _live(session, items, attempt, folder, writing)
        os.close(writing)
        self.children.append(Child(attempt, folder, pid, reading))

    def _look(self) -> None:
        """Who has ended, and whose time is over."""
        for child in list(self.children):
            took, ended = time.monotonic() - child.began, os.waitpid(child.pid, os.WNOHANG)[0]
            if not ended and took < child.attempt.limit:
                continue
            self.children.remove(child)
            if not ended:
                os.killpg(child.pid, signal.SIGKILL)
                os.waitpid(child.pid, 0)
            with open(child.pipe) as pipe:
                said = pipe.read() if ended else "it ran out of time"
            _note(child.attempt, said, took)
            shutil.rmtree(child.folder, ignore_errors=True)
            self.done(child.attempt)


def _note(attempt: Try, said: str, took: float) -> None:
    attempt.took = round(took, 2)
    if said == PASSED:
        attempt.outcome = "survived"
    else:
        attempt.by = said.removeprefix(BROKEN) or "it died"
        attempt.outcome = "broken" if said.startswith(BROKEN) or not said else "killed"


def build_worlds(items: Sequence[pytest.Item]) -> None:
    """The stored books that the tests begin with, so that no child's time is spent on it."""
    from tests.conftest import world_of

    names = sorted({world for item in items if (world := world_of(item))})  # type: ignore[no-untyped-call]
    if names:
        subprocess.run([sys.executable, "-m", "tests.worlds", *names], cwd=HOUSE, check=True)


def _by_name(session: pytest.Session) -> dict[str, pytest.Item]:
    return {item.nodeid: item for item in session.items}


def items_of(tests: Sequence[str], by_name: dict[str, pytest.Item]) -> list[pytest.Item]:
    """The tests of these names; a file, a folder or a test with cases stands for all that is in it."""
    found: dict[str, pytest.Item] = {}
    for test in tests:
        if test in by_name:
            found[test] = by_name[test]
        else:
            within = tuple(f"{test.rstrip('/')}{mark}" for mark in ("::", "[", "/"))
            found |= {name: item for name, item in by_name.items() if name.startswith(within)}
    return list(found.values())


# What a child does


def _live(session: pytest.Session, items: Sequence[pytest.Item], attempt: Try, folder: Path, pipe: int) -> NoReturn:
    said = BROKEN
    try:
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nowhere, stream)
        _settle_in(session, folder)
        if mutant := attempt.mutant:
            put_in_place(f"clubdesk.{mutant.module}", read(mutant.module).bytes.decode(), mutant.source)
        said = "\n".join(_run(session, items, only_first=mutant is not None)) or PASSED
    except BaseException as fault:
        said = f"{BROKEN}{fault!r}"
    finally:
        os.write(pipe, said.encode()[:60_000])
        os._exit(0)


def _settle_in(session: pytest.Session, folder: Path) -> None:
    """Whatever this process writes, it writes below its own folder; its books are its own copies."""
    tempfile.tempdir = str(folder)
    factory = session.config._tmp_path_factory  # type: ignore[attr-defined]
    factory._given_basetemp, factory._basetemp = folder / "tmp", None
    from tests.worlds import keeping

    keeping.SCRATCH, keeping.databases = folder, type(keeping.databases)(keeping.KEPT, folder)
    keeping.copies.clear()


def _run(session: pytest.Session, items: Sequence[pytest.Item], only_first: bool) -> list[str]:
    """The tests that fail."""
    failed: list[str] = []

    class Ear:
        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            if report.failed and report.nodeid not in failed:
                failed.append(report.nodeid)

    session.config.pluginmanager.register(Ear())
    for item, following in zip(items, [*items[1:], None], strict=True):
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if failed and only_first:
            with suppress(Exception):
                session._setupstate.teardown_exact(None)
            break
    return failed


def run(
    tries: Sequence[Try],
    *,
    at_once: int,
    seconds: float,
    done: Callable[[Try], None],
    last: Callable[[], Try | None] = lambda: None,
    tests: Sequence[str] = (),
) -> None:
    """Collect `tests` (files or names; all where none are given), and try."""
    os.chdir(HOUSE)
    pytest.main([*OPTIONS, *tests], plugins=[Trials(tries, at_once, seconds, done, last)])
