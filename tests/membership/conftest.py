"""Plans with the associations' shares, and somebody who joins."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk.fees.models import FeeKind, FeeShare
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account
from clubdesk.membership import services as membership
from clubdesk.membership.models import Plan
from clubdesk.money import as_amount
from tests import factories
from tests.membership.joining import NOW


@pytest.fixture
def bodies(book, by):
    for year in (2027, 2028):
        ledger.open_year(first_day=date(year, 7, 1), by=by)
    return factories.association(), factories.association("National archery body")


@pytest.fixture
def junior(bodies):
    """The plan of the demo: 228.00, of which 71.00 and 45.00 go on, so that 112.00 is the club's own part."""
    state, national = bodies
    return factories.plan(shares=[(state, "71.00"), (national, "45.00")])


@pytest.fixture
def adult(bodies, junior):
    item = factories.price(FeeKind.MEMBERSHIP, "300.00", Role.MEMBERSHIPS, code="adult").item
    for party, share in zip(bodies, ("95.00", "60.00"), strict=True):
        FeeShare.objects.create(
            price=item.prices.get(), account=account(Role.AFFILIATION_PAYABLE), party=party, amount=as_amount(share)
        )
    return Plan.objects.create(name="Adult", fee_item=item)


@pytest.fixture
def join(junior, by):
    def joined(person=None, plan=junior, starts_on=NOW, on=None):
        person = person or factories.PersonFactory()
        return membership.take_out_membership(person=person, plan=plan, starts_on=starts_on, on=on or starts_on, by=by)

    return joined


@pytest.fixture
def page(client, coordinator):
    """The page where the coordinator imports a roll."""
    client.force_login(coordinator)
    return reverse("admin:import_roll")
