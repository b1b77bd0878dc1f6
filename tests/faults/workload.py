"""Eight people do whatever there is to do, killed and cut off at random, while others read every sum at one moment."""

import logging
import os
import random
import time
import traceback
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from typing import Any

import psycopg
from django.db import Error, InterfaceError, OperationalError, connection, connections

from clubdesk import faults
from clubdesk.ledger.invariants import (
    chain_holds,
    check_all,
    document_models,
    funds_hold,
    head_holds,
    numbers_have_no_gap,
)
from clubdesk.ledger.models import Book, Document, JournalEntry
from clubdesk.moment import one_moment
from tests.faults import acts
from tests.faults.acts import Deed
from tests.faults.killing import FORKING, STUCK, apart, scratch
from tests.faults.stopping import Cluster

WORKERS, READERS = 8, 2
BETWEEN_KILLS, BETWEEN_CUTS = (0.05, 0.8), (0.1, 1.0)
"""In seconds, drawn anew each time."""
SUMS = "SELECT fund_id, SUM(amount) FROM ledger_posting GROUP BY fund_id HAVING SUM(amount) <> 0"
CUT = """SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database()
    AND backend_type = 'client backend' AND pid <> pg_backend_pid() ORDER BY random() LIMIT 1"""
ENDED = OperationalError, InterfaceError, psycopg.OperationalError, psycopg.InterfaceError
"""What is raised in a session that was ended; psycopg's own where Django closes a cursor beneath its wrapping."""
Tell = Callable[..., None]


@dataclass
class Told:
    """What a workload came to."""

    counts: Counter[str] = field(default_factory=Counter)
    by_verb: Counter[tuple[str, str]] = field(default_factory=Counter)
    written: dict[uuid.UUID, tuple[type[Document], int]] = field(default_factory=dict)
    keys: set[uuid.UUID] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        counts = ", ".join(f"{number} {what}" for what, number in sorted(self.counts.items()))
        return f"{counts}, {len(self.faults)} faults"


@dataclass
class Hand:
    """A process, what it tells, and what it has begun and not answered."""

    act: Callable[["Hand", Tell], None]
    deed: Deed | None = None
    process: Any = None
    pipe: Connection | None = None

    def start(self) -> None:
        self.pipe, theirs = FORKING.Pipe(duplex=False)
        self.process = FORKING.Process(target=self.live, args=(theirs,))
        self.process.start()
        theirs.close()

    def live(self, pipe: Connection) -> None:
        logging.getLogger("psycopg.pool").setLevel(logging.ERROR)
        parent = os.getppid()

        def tell(*told: object) -> None:
            if os.getppid() != parent:
                os._exit(1)
            pipe.send(told)

        try:
            self.act(self, tell)
        except BaseException:
            pipe.send(("fault", traceback.format_exc()))
        os._exit(0)

    def kill(self) -> None:
        self.process.kill()
        self.process.join()

    def told(self) -> Iterator[tuple[Any, ...]]:
        """What it has told by now."""
        assert self.pipe
        try:
            while self.pipe.poll():
                yield self.pipe.recv()
        except (EOFError, OSError):
            # It was killed, perhaps in the middle of a word.
            return


def was_cut_off(error: Exception) -> bool:
    """Whether the session was ended from outside, so that nobody knows what came of it."""
    return connection.vendor == "postgresql" and isinstance(error, ENDED)


def persistently(act: Callable[[], Any], tell: Tell) -> Any:
    """Do it again while the book is busy or the session was ended; every other error is the caller's."""
    while True:
        try:
            return act()
        except (Error, psycopg.Error) as error:
            if faults.is_busy(error):
                tell("busy")
            elif was_cut_off(error):
                tell("cut off")
            else:
                raise
            connections.close_all()


def done(deed: Deed, tell: Tell) -> None:
    """Do a deed and tell what came of it."""
    try:
        result = persistently(lambda: deed.verb(**deed.given), tell)
    except faults.COULD_NOT as error:
        tell("refused", faults.sentence_of(error))
    else:
        document = (type(result), result.pk) if deed.key and isinstance(result, Document) else None
        tell("done", document)


def work(hand: Hand, tell: Tell) -> None:
    """First what was begun before, with the same key, and then whatever there is to do."""
    club = persistently(acts.Club, tell)
    while True:
        if hand.deed:
            tell("repeated")
        deed = hand.deed or persistently(club.deed, tell)
        hand.deed = None
        tell("begun", deed)
        done(deed, tell)


def read(hand: Hand, tell: Tell) -> None:
    """Again and again every sum, of one moment; and what was read before must still stand."""
    before: tuple[int, str] | None = None
    while True:
        found, before = persistently(lambda known=before: reading(known), tell)
        tell("reading", found)
        time.sleep(random.uniform(0, 0.05))


def reading(before: tuple[int, str] | None) -> tuple[list[str], tuple[int, str]]:
    """What is wrong in the book at this moment, and its head."""
    with one_moment():
        with connection.cursor() as cursor:
            cursor.execute(SUMS)
            found = [f"{fund} is out by {figure} cents" for fund, figure in cursor.fetchall()]
        found += [*funds_hold(), *head_holds(), *numbers_have_no_gap()]
        if random.random() < 0.1:
            found += chain_holds()
        if before and not JournalEntry.objects.filter(number=before[0], digest=before[1]).exists():
            found.append(f"Entry {before[0]} was read and is gone.")
        book = Book.objects.get()
        return found, (book.last_number, book.last_digest)


def cut(hand: Hand, tell: Tell) -> None:
    """End a session of the database now and then, whoever's it is."""
    there = connection.settings_dict
    with psycopg.connect(
        host=there["HOST"], port=there["PORT"] or None, user=there["USER"], password=there["PASSWORD"] or None,
        dbname=there["NAME"], autocommit=True,
    ) as own:  # fmt: skip
        while True:
            time.sleep(random.uniform(*BETWEEN_CUTS))
            if own.execute(CUT).fetchone():
                tell("sessions ended")


def stop(cluster: Cluster) -> Callable[[Hand, Tell], None]:
    """Stops and starts the server of the database, again and again."""

    def stopping(hand: Hand, tell: Tell) -> None:
        while True:
            cluster.stop_and_start()
            tell("stops of the server")

    return stopping


def note(told: Told, hand: Hand, what: str, *more: Any) -> None:
    """Write down what a process told."""
    told.counts[f"{what}s" if what == "reading" else what] += 1
    if what == "begun":
        hand.deed = more[0]
        told.keys |= {hand.deed.key} - {None}
    elif what in ("done", "refused"):
        deed, hand.deed = hand.deed, None
        told.by_verb[deed.verb.verb.name, what] += 1
        if what == "done" and more[0]:
            told.written[deed.key] = more[0]
    elif what == "reading":
        told.counts["unbalanced"] += bool(more[0])
        told.faults += more[0]
    elif what == "fault":
        told.faults.append(f"{hand.deed}: {more[0]}")


def workload(seconds: float, cluster: Cluster | None = None) -> Told:
    """Let them all work for so long in the book that is open, repeat what was not answered, and judge the book.

    Where the book stands in a `cluster` of its own, that is stopped and started meanwhile, in place of single sessions.
    """
    told = Told()
    with scratch():
        acts.begin()
        for model in document_models():
            told.keys |= set(model._default_manager.values_list("key", flat=True))
        workers = [Hand(work) for _ in range(WORKERS)]
        others = [Hand(read) for _ in range(READERS)]
        others += [Hand(stop(cluster) if cluster else cut)] if connection.vendor == "postgresql" else []
        apart()
        for hand in workers + others:
            hand.start()
        try:
            kill_at_random(told, workers, others, time.monotonic() + seconds)
        finally:
            for hand in others + workers:
                hand.kill()
                heard(told, hand)
            if cluster:
                cluster.start_anew()
            told.counts["kills"] += len(workers)
        for hand in workers:
            if deed := hand.deed:
                told.counts["repeated"] += 1
                done(deed, lambda *what, hand=hand: note(told, hand, *what))
        told.faults += judged(told)
    return told


def heard(told: Told, hand: Hand) -> None:
    for what in hand.told():
        note(told, hand, *what)


def kill_at_random(told: Told, workers: list[Hand], others: list[Hand], until: float) -> None:
    """Listen to all until then or the first fault, and kill one after the other and start it anew."""
    next_kill = last = time.monotonic()
    while (now := time.monotonic()) < until and not told.faults:
        by_pipe = {hand.pipe: hand for hand in workers + others}
        for pipe in wait(list(by_pipe), timeout=max(next_kill - now, 0)):
            heard(told, by_pipe[pipe])
            last = now
        assert now - last < STUCK, f"Nobody told anything for {STUCK:.0f} seconds."
        if now >= next_kill:
            victim = random.choice(workers)
            victim.kill()
            heard(told, victim)
            told.counts["kills"] += 1
            victim.start()
            next_kill = now + random.uniform(*BETWEEN_KILLS)


MADE_BY_OTHER_VERBS_TOO = {
    "Arrangement", "Clearing", "Receipt", "SignOn", "Charge", "ChargeCredit", "Journal", "Repayment",
}  # fmt: skip


def judged(told: Told) -> Iterator[str]:
    """What was answered and is gone, what nobody asked for, and whatever check_books says."""
    for model, pk in told.written.values():
        if not model._default_manager.filter(pk=pk).exists():
            told.counts["lost"] += 1
            yield f"{model.__name__} {pk} was answered and is not there"
    for model in {model for model, _ in told.written.values()}:
        if model.__name__ not in MADE_BY_OTHER_VERBS_TOO:
            for key in set(model._default_manager.values_list("key", flat=True)) - told.keys:
                told.counts["double"] += 1
                yield f"{model.__name__} {key} was made and nobody asked for it"
    yield from (f"{result.name}: {fault}" for result in check_all() for fault in result.faults)
