"""Many at once do anything, are killed and cut off: whoever reads at one moment finds every sum nil."""

import pytest

from tests.faults.workload import workload

SECONDS = 8


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_every_sum_is_nil_at_every_moment_while_eight_people_work_and_are_killed():
    told = workload(SECONDS)
    assert told.faults == []
    assert told.counts["unbalanced"] == 0
    assert min(told.counts[what] for what in ("done", "refused", "repeated", "kills", "readings")) > 0
