"""A process is killed at random moments in the middle of writes: what was not answered is repeated and counts once."""

import dataclasses
import time
import uuid

import pytest

from clubdesk.fees.models import Receipt
from tests.faults.killing import kill
from tests.faults.writes import KINDS, pay

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]


@pytest.mark.parametrize("kind", KINDS)
def test_whoever_is_killed_and_repeats_what_was_not_answered_has_written_once(kind):
    wanted = 7 if kind == "year closed" else 12
    run = kill(KINDS[kind], wanted)
    assert run.faults == []
    assert run.kills > 0
    assert len(run.answered) == wanted


def pay_with_another_key(home, key):
    pay(home, uuid.uuid4())
    time.sleep(0.05)


def test_whoever_repeats_it_under_another_key_is_found_to_have_written_twice():
    forgetful = dataclasses.replace(
        KINDS["receipts"],
        do=pay_with_another_key,
        stands=lambda home, key: Receipt.objects.filter(household=home).count(),
    )
    run = kill(forgetful, writes=25)
    assert run.landed > 0
    assert "stands 2 times" in " ".join(run.faults)
