"""What the statements of all who owe cost as the club grows."""

from datetime import date

import pytest

from clubdesk.fees import accounts, papers, services
from clubdesk.fees.models import FeeKind, Method
from clubdesk.ledger.models import Role
from clubdesk.money import as_amount
from tests import factories

pytestmark = pytest.mark.django_db
ON = date(2026, 9, 12)


def test_statements_of_500_households_beside_250(ratio, book, by):
    """Twice the families take about twice the time: each statement, with its paper, costs the same."""
    price = factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)
    families = [factories.HouseholdFactory() for _ in range(500)]
    for family in families:
        for day in (date(2026, 7, 3), date(2026, 8, 3)):
            services.charge(household=family, price=price, on=day, starts_on=day, by=by)
        services.record_receipt(household=family, amount=as_amount(70), method=Method.CARD, on=ON, by=by)

    def make(count):
        for statement in accounts.statements(families[:count], ON):
            papers.statement_pdf(statement, book, None)

    ratio(lambda: make(500), lambda: make(250), rounds=3, limit=2.2)
