"""Whoever finds somebody writing in an SQLite book waits in turn, and not for ever."""

import sqlite3
import threading
import time
from contextlib import closing

import pytest
from django.db import OperationalError, close_old_connections, connection, transaction

from clubdesk.fair_sqlite3.base import LONGEST, SHORTEST, pause
from clubdesk.faults import is_busy

pytestmark = pytest.mark.only_on("sqlite")


@pytest.fixture
def somebody_writes(transactional_db):
    with closing(
        sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None, check_same_thread=False)
    ) as other:
        other.execute("BEGIN IMMEDIATE")
        yield other


def test_whoever_has_waited_longer_looks_more_often():
    at_first, later, late = ([pause(waited) for _ in range(100)] for waited in (0, 0.5, 60))
    assert min(at_first) > LONGEST / 2.1
    assert max(late) < 1.6 * SHORTEST
    assert sum(at_first) > 2 * sum(later) > 4 * sum(late) / 2


def test_whoever_waits_begins_once_the_other_has_written(somebody_writes):
    threading.Timer(0.2, lambda: somebody_writes.execute("COMMIT")).start()
    began = time.monotonic()
    with transaction.atomic():
        waited = time.monotonic() - began
    assert waited >= 0.15


def test_after_the_seconds_of_the_setting_the_book_is_busy(somebody_writes, monkeypatch):
    monkeypatch.setitem(connection.settings_dict["OPTIONS"], "timeout", 0.1)
    with pytest.raises(OperationalError) as raised, transaction.atomic():
        raise AssertionError("nothing is begun beside somebody who writes")
    assert is_busy(raised.value)
    somebody_writes.execute("COMMIT")
    with transaction.atomic():
        assert connection.connection.execute("PRAGMA busy_timeout").fetchone() == (100,)


def test_a_thread_keeps_its_connection_from_page_to_page(transactional_db):
    connection.ensure_connection()
    before = connection.connection
    close_old_connections()
    assert connection.connection is before
