"""A range day, a member who comes to it, and a tin to count."""

import pytest

from clubdesk.membership import services as membership
from clubdesk.rangeday import services
from clubdesk.rangeday.models import (
    Gear,
    Paid,
)
from tests import factories
from tests.rangeday.days import TODAY


@pytest.fixture
def day(book):
    factories.hire()
    return factories.range_day()


@pytest.fixture
def plan(book):
    return factories.plan()


@pytest.fixture
def join(plan, by):
    def joined(person):
        membership.take_out_membership(person=person, plan=plan, starts_on=TODAY, on=TODAY, by=by)
        return person

    return joined


@pytest.fixture
def member(day, join):
    return join(factories.PersonFactory())


@pytest.fixture
def sign(day, by):
    def signed(person=None, paid=Paid.CASH, gear=Gear.HIRE, on=day, **more):
        who = {"person": person} if person else {"visitor_name": "Noor Solano"}
        return services.sign_on(range_day=on, gear=gear, paid=paid, by=by, **who, **more)

    return signed
