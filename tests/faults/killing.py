"""Writes in a process that is killed at random and started anew; what was not answered is repeated under its key."""

import multiprocessing
import os
import random
import signal
import tempfile
import time
import traceback
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from statistics import median
from typing import Any

from django.db import OperationalError, connection, connections
from django.test import override_settings

from clubdesk.errors import Refused
from clubdesk.faults import is_busy
from clubdesk.ledger.invariants import check_all

FORKING = multiprocessing.get_context("fork")
MOST_BEGUN, STUCK = 5, 120.0
"""So many writes at most does a process begin before it is killed; so many seconds may one take."""


@dataclass(frozen=True)
class Kind:
    """A kind of write: what is prepared, what is called with which key, and what stands in the book once afterwards.

    `prepare` makes the ground for a number of writes and gives what each is told. `stands` says how often one stands;
    `in_all` counts what all such writes made, `each` of them for one. `finally_` is done when all are answered.
    """

    prepare: Callable[[int], Sequence[Any]]
    do: Callable[[Any, uuid.UUID], object]
    stands: Callable[[Any, uuid.UUID], int]
    in_all: Callable[[], int]
    each: int = 1
    at_most: int = 10_000
    finally_: Callable[[], object] = lambda: None


@dataclass
class Run:
    """One kind's writes while processes are killed: which were begun and answered, and what came of it.

    `landed` counts the repeated ones that stood in the book already, killed between their commit and their answer.
    """

    kind: Kind
    given: Sequence[Any]
    keys: list[uuid.UUID]
    begun: set[int] = field(default_factory=set)
    answered: set[int] = field(default_factory=set)
    took: list[float] = field(default_factory=list)
    kills: int = 0
    repeated: int = 0
    landed: int = 0
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        told = f"{len(self.keys)} writes, {self.kills} kills, {self.repeated} repeated, {self.landed} of them there"
        return f"{told} already, {len(self.faults)} faults"


@contextmanager
def scratch() -> Iterator[None]:
    """Evidence and letters of a run in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        post = {"EMAIL_BACKEND": "tests.faults.letterbox.Letterbox", "EMAIL_FILE_PATH": f"{folder}/letters"}
        Path(post["EMAIL_FILE_PATH"]).touch()
        with override_settings(MEDIA_ROOT=Path(folder) / "evidence", **post):
            yield


def kill(kind: Kind, writes: int) -> Run:
    """Do so many writes of the kind in the book that is open; `faults` tells what is not as it must be afterwards."""
    with scratch():
        writes = min(writes, kind.at_most)
        run = Run(kind, kind.prepare(writes), [uuid.uuid4() for _ in range(writes)])
        before = kind.in_all()
        while len(run.answered) < writes and not run.faults:
            apart()
            one_life(run)
        kind.finally_()
        run.faults += judged(run, before)
    return run


def apart() -> None:
    """Let go of the database, so that a process that is forked now shares no connection with this one."""
    connections.close_all()
    if connection.vendor == "postgresql":
        connection.close_pool()


def one_life(run: Run) -> None:
    """A process begins what is left and is killed at a random moment, in the middle of a write or around it."""
    ours, theirs = FORKING.Pipe(duplex=False)
    process = FORKING.Process(target=work, args=(run, ours, theirs))
    process.start()
    theirs.close()
    ends_with, began = random.randint(1, MOST_BEGUN), 0.0
    for what, number, told in heard(ours):
        if what == "begun":
            began, ends_with = time.monotonic(), ends_with - 1
            run.repeated += number in run.begun
            run.landed += bool(told)
            run.begun.add(number)
        elif what == "answered":
            run.took.append(time.monotonic() - began)
            run.answered.add(number)
        else:
            run.faults.append(f"write {number}: {told}")
        if not ends_with and what == "begun":
            time.sleep(random.uniform(0, 1.5) * (median(run.took) if run.took else 0.02))
            process.kill()
    process.join()
    run.kills += process.exitcode == -signal.SIGKILL
    ours.close()


def heard(pipe: Connection) -> Iterator[tuple[str, int, Any]]:
    """What a process tells until it ends, also what lies in the pipe when it was killed."""
    while pipe.poll(STUCK):
        try:
            yield pipe.recv()
        except EOFError:
            return
    raise AssertionError(f"A process said nothing for {STUCK:.0f} seconds.")


def work(run: Run, ours: Connection, theirs: Connection) -> None:
    """In the process that will be killed: whatever is not answered yet, in turn."""
    ours.close()
    for number in sorted(set(range(len(run.keys))) - run.answered):
        given, key = run.given[number], run.keys[number]
        theirs.send(("begun", number, number in run.begun and run.kind.stands(given, key)))
        try:
            until_done(run.kind, given, key)
        except Exception:
            theirs.send(("failed", number, traceback.format_exc()))
            break
        # The answer is on its way for a moment, in which the process may end too.
        time.sleep(random.uniform(0, 0.005))
        theirs.send(("answered", number, None))
    theirs.close()
    os._exit(0)


def until_done(kind: Kind, given: Any, key: uuid.UUID) -> None:
    """Whoever finds the book busy presses again; a refusal is an answer too."""
    while True:
        try:
            kind.do(given, key)
        except Refused:
            return
        except OperationalError as error:
            if not is_busy(error):
                raise
        else:
            return


def judged(run: Run, before: int) -> Iterator[str]:
    """What is not as it must be once everything was answered."""
    for number, (given, key) in enumerate(zip(run.given, run.keys, strict=True)):
        if (times := run.kind.stands(given, key)) != 1:
            yield f"write {number} stands {times} times"
    made, wanted = run.kind.in_all() - before, len(run.keys) * run.kind.each
    if made != wanted:
        yield f"{wanted} were to be made, and {made} were"
    yield from (f"{result.name}: {fault}" for result in check_all() for fault in result.faults)
