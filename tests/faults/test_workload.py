"""Many at once do anything, are killed and cut off: whoever reads at one moment finds every sum nil."""

import pytest

from clubdesk.ledger.models import Posting
from clubdesk.money import as_amount
from tests.faults.workload import reading, workload

SECONDS = 8


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_every_sum_is_nil_at_every_moment_while_eight_people_work_and_are_killed():
    told = workload(SECONDS)
    assert told.faults == []
    assert told.counts["unbalanced"] == 0
    assert min(told.counts[what] for what in ("done", "refused", "repeated", "kills", "readings")) > 0


@pytest.mark.world("unguarded")
def test_whoever_reads_would_see_a_cent_that_is_missing_and_an_entry_that_is_gone(db):
    found, (number, digest) = reading(None)
    assert found == []
    Posting.objects.filter(pk=Posting.objects.first().pk).update(amount=as_amount("0.01"))
    found, _ = reading((number + 1, digest))
    assert any("is out by" in fault for fault in found)
    assert f"Entry {number + 1} was read and is gone." in found
