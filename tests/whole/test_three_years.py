"""A generated club through three years: on every day each control account equals its detail."""

from datetime import timedelta

import pytest

from clubdesk.fees import invariants as fees
from clubdesk.ledger.invariants import check_all
from clubdesk.membership import invariants as membership
from tests.chance import often
from tests.reports import bridge
from tests.whole.club import DAYS, START, Club, figures

JUNIORS = often(150)
"""With CHANCE=4 six hundred."""
EVERY_DAY = (
    fees.fees_owed_holds,
    fees.fees_in_advance_holds,
    fees.vouchers_owed_holds,
    membership.affiliation_holds,
)


@pytest.mark.slow
@pytest.mark.either
@pytest.mark.django_db
def test_control_accounts_equal_their_detail_on_every_day_of_three_years(book, by):
    club = Club(by, JUNIORS)
    proven, days = None, 0
    for day in club.days():
        days += 1
        if (stands_at := club.stands_at()) != proven:  # after a day on which nothing happens the proof is still good
            faults = [sentence for holds in EVERY_DAY for sentence in holds()]
            assert faults == [], day
            proven = stands_at
        if (day + timedelta(days=1)).day == 1:
            assert bridge.gaps(day.replace(day=1), day) == bridge.gaps(START, day) == [], day
    assert days == DAYS
    assert [result for result in check_all() if result.faults] == []
    outcomes = figures()["vouchers"]
    assert min(outcomes[state] for state in ("paid", "refused", "released")) > 2
    for what in ("joined", "renewed", "paid", "left", "changed plan", "cancelled", "repaid", "written off", "remitted",
                 "receipt cancelled", "voucher refused"):  # fmt: skip
        assert club.counts[what] > 2, (what, club.counts)
    print(sorted(club.counts.items()), figures())
