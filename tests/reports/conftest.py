"""The season's year, closed; and journals by hand."""

from datetime import date

import pytest

from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, JournalOrigin
from clubdesk.ledger.posting import Line
from clubdesk.money import as_amount
from tests.reports.altering import FIRST


@pytest.fixture
def closed(season, by):
    """The season's year, closed, and the next one open."""
    ledger.open_year(first_day=date(2027, 7, 1), by=by)
    year = FinancialYear.objects.get(first_day=FIRST)
    return ledger.close_year(year=year, by=by, on=date(2027, 7, 1))


@pytest.fixture
def journal(by):
    """Write one, debit positive: `journal((Role.BANK, 10), (Role.DONATIONS, -10))`; a fund may stand behind each."""

    def written(*amounts, on=date(2026, 8, 3), origin=JournalOrigin.HAND):
        lines = [Line(account, as_amount(amount), None, *fund) for account, amount, *fund in amounts]
        return ledger.record_journal(on=on, narration="By hand", lines=lines, by=by, origin=origin)

    return written
