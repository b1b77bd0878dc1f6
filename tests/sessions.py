"""Two sessions of the database, of which the first pauses between what it looks at and what it writes."""

import threading
from collections.abc import Callable
from unittest import mock

from django.db import connections

Act = Callable[[], object]
Owned = tuple[object, str]
A_WHILE = 0.7
"""Seconds after which whoever has not come through is taken to wait for the other."""


def beside(
    first: Act, second: Act, *, after: tuple[object, str] | None = None, before: tuple[object, str] | None = None
):
    """What both returned or raised. The first pauses after (or before) the function of that name, told by its owner.

    Meanwhile the second does all of its work, or waits for the first, which then goes on.
    """
    owner, name = after or before  # type: ignore[misc]
    plain, there, go_on = getattr(owner, name), threading.Event(), threading.Event()
    threads: list[threading.Thread] = []

    def pausing(*args: object, **named: object) -> object:
        if threading.current_thread() is not threads[0] or there.is_set():
            return plain(*args, **named)
        done = plain(*args, **named) if after else None
        there.set()
        assert go_on.wait(30), "nobody let the first go on"
        return done if after else plain(*args, **named)

    results: list[object] = [None, None]

    def run(number: int, act: Act) -> None:
        try:
            results[number] = act()
        except Exception as error:
            results[number] = error
        finally:
            if number == 0:
                there.set()
            connections.close_all()

    with mock.patch.object(owner, name, pausing):
        threads += [threading.Thread(target=run, args=(number, act)) for number, act in enumerate((first, second))]
        threads[0].start()
        assert there.wait(30), f"the first never came to {name}"
        threads[1].start()
        threads[1].join(A_WHILE)
        go_on.set()
        for thread in threads:
            thread.join(60)
    return results
