"""What a page promises of its verb: the verb is done, what it did is told, and all of it is undone."""

import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.db import models, transaction
from django.db.models.signals import post_save

from clubdesk.faults import COULD_NOT, sentence_of

Result = TypeVar("Result")
Row = TypeVar("Row", bound=models.Model)
NOT_NOW = "If it were done today"
"""What stands before the sentence with which the verb would refuse it."""
Facts = Sequence[tuple[str, object]]


@dataclass(frozen=True)
class Did(Generic[Result]):
    """What a verb gave, and the rows that it added one by one."""

    result: Result
    wrote: Sequence[models.Model]

    def rows(self, model: type[Row]) -> list[Row]:
        return [row for row in self.wrote if isinstance(row, model)]


def foretold(act: Callable[[], Result], tell: Callable[[Did[Result]], Iterable[tuple[str, object]]]) -> Facts:
    """What `tell` says of what `act` does; nothing of it is saved. Where it cannot be done now, why.

    Rows are locked as by the verb itself, until all is undone. `tell` asks whatever it asks while it answers.
    """
    try:
        with transaction.atomic(), _noted() as wrote:
            told = list(tell(Did(act(), wrote)))
            transaction.set_rollback(True)
    except COULD_NOT as refusal:
        return [(NOT_NOW, sentence_of(refusal))]
    return told


@contextmanager
def _noted() -> Iterator[list[models.Model]]:
    """The rows that are added meanwhile in this thread."""
    ours, rows = threading.get_ident(), []

    def note(instance: models.Model, created: bool, **_: Any) -> None:
        if created and threading.get_ident() == ours:
            rows.append(instance)

    post_save.connect(note, weak=False)
    try:
        yield rows
    finally:
        post_save.disconnect(note)
