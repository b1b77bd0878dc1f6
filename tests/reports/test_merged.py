"""Two families that are one: the year's figures stay what they were, and its workbook genuine."""

from datetime import date

import pytest

from clubdesk import clock
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import party_balances
from clubdesk.reports.verify import verify
from clubdesk.roll import services as roll
from clubdesk.roll.models import Household
from tests.reports.altering import made, year

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


def two_that_owe(on):
    """Two families with a balance that nothing keeps from being one."""
    owing = [party for party, figure in party_balances(Role.FEES_OWED, on).items() if figure]
    return list(Household.objects.filter(party__in=owing).order_by("pk")[:2])


def faults():
    return [fault for result in check_all() for fault in result.faults]


def test_a_year_in_which_two_were_merged_is_told_and_proved(season, by):
    one, other = two_that_owe(NOW)
    before = made(year())
    assert roll.merge_families(household=one, other=other, on=NOW, by=by).moves_money
    assert verify(before).faults == []
    found = verify(made(year()))
    assert found.is_genuine
    assert found.faults == []
    assert faults() == []


def test_a_closed_year_stays_genuine_where_two_are_merged_in_the_next(closed, by):
    content = made(closed)
    later = date(2027, 8, 2)
    one, other = two_that_owe(later)
    with clock.on(later):
        done = roll.merge_families(household=one, other=other, on=later, by=by)
        assert verify(content).faults == []
        assert faults() == []
        roll.undo_merge(merge=done, on=later, by=by)
    assert verify(content).faults == []
