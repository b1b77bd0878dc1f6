"""What an error is, and what a page and the log say of it, without a question to the database."""

import errno
import io
import json
import sqlite3
from typing import ClassVar

import psycopg
import psycopg_pool
import pytest
from django.core.management import call_command
from django.db import IntegrityError, OperationalError
from django.test import RequestFactory

from clubdesk import faults
from clubdesk.errors import Refused
from clubdesk.faults import Kind, answer, kind_of, sentence_of
from clubdesk.shell import ShellCommand


def of_sqlite(code, words="somehow"):
    error = sqlite3.OperationalError(words)
    error.sqlite_errorcode = code
    return error


def through_django(error):
    """As Django gives a database's error on."""
    try:
        try:
            raise error
        except Exception as beneath:
            raise OperationalError(*beneath.args) from beneath
    except OperationalError as made:
        return made


@pytest.mark.parametrize(
    ("beneath", "kind"),
    [
        (of_sqlite(sqlite3.SQLITE_BUSY), Kind.BUSY),
        (of_sqlite(sqlite3.SQLITE_BUSY_SNAPSHOT), Kind.BUSY),
        (of_sqlite(sqlite3.SQLITE_LOCKED), Kind.BUSY),
        (of_sqlite(sqlite3.SQLITE_FULL), Kind.FULL),
        (of_sqlite(sqlite3.SQLITE_IOERR_WRITE), Kind.FULL),
        (of_sqlite(sqlite3.SQLITE_IOERR_SHMSIZE), Kind.FULL),
        (of_sqlite(sqlite3.SQLITE_IOERR_READ), Kind.FAULT),
        (of_sqlite(sqlite3.SQLITE_ERROR, "Expression tree is too large"), Kind.FAULT),
        (of_sqlite(sqlite3.SQLITE_CORRUPT), Kind.DAMAGED),
        (of_sqlite(sqlite3.SQLITE_CORRUPT_INDEX), Kind.DAMAGED),
        (of_sqlite(sqlite3.SQLITE_NOTADB, "file is not a database"), Kind.DAMAGED),
        (sqlite3.OperationalError("Could not decode to UTF-8 column 'name' with text '...'"), Kind.DAMAGED),
        (UnicodeDecodeError("utf-8", b"malformed database schema (mem\xfd)", 30, 31, "invalid"), Kind.DAMAGED),
        (UnicodeDecodeError("utf-8", b"something else \xfd", 15, 16, "invalid"), Kind.FAULT),
        (sqlite3.OperationalError("of no code"), Kind.FAULT),
        (psycopg.errors.LockNotAvailable(), Kind.BUSY),
        (psycopg.errors.DeadlockDetected(), Kind.BUSY),
        (psycopg.errors.SerializationFailure(), Kind.BUSY),
        (psycopg.errors.TooManyConnections(), Kind.BUSY),
        (psycopg_pool.PoolTimeout("waited 60 seconds"), Kind.BUSY),
        (psycopg.errors.DiskFull(), Kind.FULL),
        (psycopg.errors.QueryCanceled(), Kind.FAULT),
        (psycopg.OperationalError("the connection is closed"), Kind.FAULT),
        (OSError(errno.ENOSPC, "No space left on device"), Kind.FULL),
        (OSError(errno.EACCES, "Permission denied"), Kind.FAULT),
    ],
    ids=lambda each: repr(each)[:60],
)
def test_an_error_is_what_the_database_says_beneath(beneath, kind):
    assert kind_of(through_django(beneath)) is kind


def test_busy_and_full_are_sentences_and_a_fault_is_raised_again():
    assert sentence_of(Refused("No.")) == "No."
    assert sentence_of(through_django(of_sqlite(sqlite3.SQLITE_BUSY))) == faults.BUSY
    assert sentence_of(through_django(of_sqlite(sqlite3.SQLITE_FULL))) == faults.FULL
    with pytest.raises(OperationalError, match="too large"):
        sentence_of(through_django(of_sqlite(sqlite3.SQLITE_ERROR, "Expression tree is too large")))


def raised(error):
    """The error with the traceback of its raising."""
    try:
        raise error
    except Exception as made:
        return made


def test_a_fault_has_an_id_on_its_page_and_in_the_log_with_the_traceback(caplog):
    response = answer(RequestFactory().get("/roll/household/3/"), raised(ZeroDivisionError("by nought")))
    (record,) = caplog.records
    fault = record.args[0]
    assert len(fault) == 6
    assert response.status_code == 500
    assert f"it was fault {fault}." in response.content.decode()
    assert record.getMessage() == f"fault {fault} at GET /roll/household/3/"
    assert "in raised" in caplog.text
    assert "ZeroDivisionError: by nought" in caplog.text
    assert "by nought" not in response.content.decode()


def test_what_was_sent_may_have_been_saved_before_a_fault():
    said = answer(RequestFactory().post("/"), raised(ZeroDivisionError())).content.decode()
    assert "Look first whether it was saved" in said


def test_the_log_keeps_no_link_of_a_family(caplog):
    answer(RequestFactory().get("/account/eyJob3VzZWhvbGQiOjN9:1vBq:S0mEthing_signed/"), raised(KeyError("x")))
    assert "at GET /account/.../" in caplog.text
    assert "S0mEthing" not in caplog.records[0].getMessage()


def test_busy_says_what_to_do_now(caplog):
    busy = through_django(of_sqlite(sqlite3.SQLITE_BUSY, "database is locked"))
    asked, sent = (answer(ask("/a/"), busy) for ask in (RequestFactory().get, RequestFactory().post))
    assert (asked.status_code, sent.status_code) == (503, 503)
    assert "load the page again" in asked.content.decode()
    assert "press the button again" in sent.content.decode()
    assert {record.levelname for record in caplog.records} == {"WARNING"}


def test_a_full_disk_says_who_can_help():
    response = answer(RequestFactory().get("/"), through_django(psycopg.errors.DiskFull()))
    assert response.status_code == 507
    assert "must make room first" in response.content.decode()
    assert "can still be read" in response.content.decode()


def test_a_script_gets_the_sentence_alone():
    request = RequestFactory().get("/", headers={"accept": "application/json"})
    response = answer(request, through_django(psycopg.errors.DiskFull()))
    assert json.loads(response.content) == {"sentence": faults.FULL}
    assert response.status_code == 507


class Fails(ShellCommand):
    """Raises what it is given."""

    error: Exception = ValueError("of the program")
    requires_system_checks: ClassVar[list[str]] = []

    def run(self, **options):
        raise self.error


@pytest.mark.parametrize(
    ("error", "sentence", "is_logged"),
    [
        (through_django(of_sqlite(sqlite3.SQLITE_BUSY)), "Somebody else was writing at the same moment", False),
        (through_django(of_sqlite(sqlite3.SQLITE_FULL)), faults.FULL, False),
        (OSError(errno.ENOSPC, "No space left on device"), faults.FULL, False),
        (through_django(of_sqlite(sqlite3.SQLITE_CORRUPT)), faults.DAMAGED, False),
        (through_django(of_sqlite(sqlite3.SQLITE_ERROR, "near SELEC: syntax error")), "that it was fault", True),
        (through_django(psycopg.OperationalError("the connection is closed")), "that it was fault", True),
        (ValueError("month must be in 1..12"), "that it was fault", True),
        (Refused("The year is closed."), "The year is closed.", False),
        (OSError(errno.EACCES, "Permission denied"), "The file cannot be used: Permission denied.", False),
        (IntegrityError("A receipt is never deleted."), "The book itself refused this", False),
    ],
    ids=lambda each: str(each)[:40],
)
def test_a_command_says_it_in_words_and_exits_with_1(error, sentence, is_logged, caplog):
    said = io.StringIO()
    command = Fails(stderr=said)
    command.error = error
    with pytest.raises(SystemExit) as stopped:
        call_command(command)
    assert stopped.value.code == 1
    assert sentence in said.getvalue()
    assert len(said.getvalue().splitlines()) == 1
    assert bool(caplog.records) == is_logged
    if is_logged:
        assert f"fault {caplog.records[0].args[0]}." in said.getvalue()
        assert str(error) in caplog.text
