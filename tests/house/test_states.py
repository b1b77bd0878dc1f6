"""The verb that a table of states names is the one that moves a document there."""

import inspect
import sys

import pytest
from django.db import connection

from clubdesk import states
from clubdesk.verbs import VERBS
from tests.house.moving import MOVES

pytestmark = [pytest.mark.django_db, pytest.mark.only_on("sqlite")]


def verbs_in_progress():
    names = {inspect.unwrap(verb.function).__code__: verb.name for verb in VERBS.values()}
    frame, found = sys._getframe(), set()
    while frame:
        if frame.f_code in names:
            found.add(names[frame.f_code])
        frame = frame.f_back
    return found


@pytest.fixture
def moved(book):
    """Each move of a document as the database saw it: its table, the states, and each verb that was in progress."""
    seen = set()

    def note(table, before, after):
        seen.update((table, before, after, name) for name in verbs_in_progress())

    connection.connection.create_function("note_move", 3, note)
    with connection.cursor() as cursor:
        for table, (_, column) in states.GUARDED.items():
            cursor.execute(
                f"CREATE TEMP TRIGGER noted_{table} AFTER UPDATE ON main.{table} WHEN OLD.{column} <> NEW.{column}"
                f" BEGIN SELECT note_move('{table}', OLD.{column}, NEW.{column}); END"
            )
    return seen


@pytest.mark.parametrize("table", sorted(states.GUARDED))
def test_a_document_goes_from_state_to_state_by_the_verb_that_its_table_names(table, moved, by, approver):
    found, _ = states.GUARDED[table]
    MOVES[found.noun](by, approver)
    assert [move for move in found.pairs() if (table, *move) not in moved] == []
