"""Django's SQLite, with a fairer way of waiting for whoever writes.

SQLite's own waiter sleeps up to a tenth of a second between two looks, the longer the longer it has waited, so that
whoever comes later, and looks again at once, is served first. Here whoever has waited longer looks more often.
"""

import os
import random
import sqlite3
import time
from contextlib import suppress
from typing import Any

from django.db.backends.sqlite3 import base
from django.db.utils import OperationalError

LONGEST, SHORTEST = 0.02, 0.004
"""Seconds between two looks of whoever has just come, and of whoever has waited for long."""


def pause(waited: float) -> float:
    """How long to sleep before the next look, after so many seconds; drawn at random, so that no two go in step."""
    return max(LONGEST / (1 + 4 * waited), SHORTEST) * random.uniform(0.5, 1.5)  # noqa: S311 - nothing is kept secret by it


def is_taken(error: OperationalError) -> bool:
    """Whether somebody else is writing at this moment."""
    return getattr(error.__cause__, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY


class DatabaseWrapper(base.DatabaseWrapper):
    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        """A file that is not there yet is made for its owner alone, and SQLite makes its log and index alike."""
        name = str(conn_params["database"])
        if name and not name.startswith(("file:", ":")):
            with suppress(OSError):
                os.close(os.open(name, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
        return super().get_new_connection(conn_params)

    def _start_transaction_under_autocommit(self) -> None:
        """Begin once nobody else writes. Raises OperationalError after the seconds of the setting `timeout`."""
        limit, began = float(self.settings_dict["OPTIONS"].get("timeout", 5)), time.monotonic()
        self._let_sqlite_wait(0)
        try:
            while True:
                try:
                    super()._start_transaction_under_autocommit()  # type: ignore[misc]
                    break
                except OperationalError as error:
                    waited = time.monotonic() - began
                    if waited >= limit or not is_taken(error):
                        raise
                time.sleep(pause(waited))
        finally:
            self._let_sqlite_wait(limit)

    def _let_sqlite_wait(self, seconds: float) -> None:
        self.connection.execute(f"PRAGMA busy_timeout = {int(1000 * seconds)}")
