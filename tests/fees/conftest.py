"""A family, and what it is charged and pays."""

from datetime import date
from itertools import count

import pytest

from clubdesk.fees import services
from clubdesk.fees.models import Method
from clubdesk.money import as_amount
from tests import factories

NOW = date(2026, 9, 12)


@pytest.fixture
def household(book):
    return factories.HouseholdFactory(name="Mirabar family")


@pytest.fixture
def child(household):
    return factories.PersonFactory(household=household, given_name="Ada")


@pytest.fixture
def owe(household, by):
    """The family owes a new fee: `owe(50)`."""
    numbers = count(1)

    def charged(amount, on=NOW, starts_on=None, **more):
        price = factories.price(amount=amount, code=f"fee {next(numbers)}")
        return services.charge(household=household, price=price, on=on, starts_on=starts_on or on, by=by, **more)

    return charged


@pytest.fixture
def receive(household, by):
    """The family pays by transfer: `receive(50)`."""

    def received(amount, on=NOW, **more):
        return services.record_receipt(
            household=household, amount=as_amount(amount), method=Method.TRANSFER, on=on, by=by, **more
        )

    return received
