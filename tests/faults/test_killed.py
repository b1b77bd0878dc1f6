"""A process is killed at random moments in the middle of writes: what was not answered is repeated and counts once."""

import pytest

from tests.faults.killing import kill
from tests.faults.writes import KINDS

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]


@pytest.mark.parametrize("kind", KINDS)
def test_whoever_is_killed_and_repeats_what_was_not_answered_has_written_once(kind):
    run = kill(KINDS[kind], writes=12)
    assert run.faults == []
    assert run.kills > 0
    assert len(run.answered) == 12
