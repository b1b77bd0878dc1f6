"""The year and the general fund."""

import pytest

from clubdesk.ledger.models import FinancialYear, Fund, FundRole


@pytest.fixture
def general(book):
    return Fund.objects.get(pk=FundRole.GENERAL)


@pytest.fixture
def year(book):
    return FinancialYear.objects.get()
