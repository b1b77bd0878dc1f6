"""Many at once do anything, are killed and cut off: whoever reads at one moment finds every sum nil."""

import random

import pytest

from clubdesk.ledger.invariants import document_models
from clubdesk.ledger.models import Posting
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests.faults.acts import begin
from tests.faults.killing import scratch
from tests.faults.stopping import of_its_own
from tests.faults.workload import done, reading, workload

SECONDS, DEEDS = 8, 150


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_every_sum_is_nil_at_every_moment_while_eight_people_work_and_are_killed():
    told = workload(SECONDS)
    assert told.faults == []
    assert told.counts["unbalanced"] == 0
    assert min(told.counts[what] for what in ("done", "refused", "repeated", "kills", "readings")) > 0


@pytest.mark.slow
@pytest.mark.only_on("postgresql")
@pytest.mark.django_db(transaction=True)
def test_a_server_of_the_database_that_is_stopped_and_started_loses_nothing_and_doubles_nothing():
    with of_its_own() as cluster:
        told = workload(SECONDS + 4, cluster)
    assert told.faults == []
    assert min(told.counts[what] for what in ("done", "cut off", "stops of the server", "readings")) > 0


def rows():
    """How many rows there are of each document, and of what documents make."""
    return {model.__name__: model._default_manager.count() for model in (*document_models(), Posting, Message)}


@pytest.mark.slow
def test_whatever_is_done_again_as_it_was_changes_nothing(db):
    with scratch():
        club, done_again = begin(random.random()), set()
        for _ in range(DEEDS):
            deed, heard = club.deed(), []
            done(deed, lambda *told, heard=heard: heard.append(told))
            if heard[-1][0] == "done":
                before = rows()
                done(deed, lambda *told: None)
                assert (deed, rows()) == (deed, before)
                done_again.add(deed.verb)
    assert len(done_again) > 20


@pytest.mark.world("unguarded")
def test_whoever_reads_would_see_a_cent_that_is_missing_and_an_entry_that_is_gone(db):
    found, (number, digest) = reading(None)
    assert found == []
    Posting.objects.filter(pk=Posting.objects.first().pk).update(amount=as_amount("0.01"))
    found, _ = reading((number + 1, digest))
    assert any("is out by" in fault for fault in found)
    assert f"Entry {number + 1} was read and is gone." in found
