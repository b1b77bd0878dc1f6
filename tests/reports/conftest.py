"""The season's year, closed."""

from datetime import date

import pytest

from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear
from tests.reports.altering import FIRST


@pytest.fixture
def closed(season, by):
    """The season's year, closed, and the next one open."""
    ledger.open_year(first_day=date(2027, 7, 1), by=by)
    year = FinancialYear.objects.get(first_day=FIRST)
    return ledger.close_year(year=year, by=by, on=date(2027, 7, 1))
