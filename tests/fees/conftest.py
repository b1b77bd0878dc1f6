"""A family, and what it is charged and pays."""

from datetime import date
from itertools import count

import pytest

from clubdesk.fees import services
from clubdesk.fees.models import Method, Voucher
from clubdesk.money import as_amount
from tests import factories

NOW, PAID, LEFT, BACK = date(2026, 9, 12), date(2026, 9, 20), date(2026, 9, 26), date(2026, 10, 3)
AS_ASKED = {"invoice": "INV 77", "pay_to": "BSB 012-003, 4500123", "reason": "the child left"}


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


@pytest.fixture
def scheme(book):
    return factories.scheme()


@pytest.fixture
def paid(scheme, child, by):
    """A voucher of 100.00 that the department paid, towards a fee of 126.00 of which the family paid the rest."""
    charge = services.charge(
        household=child.household, person=child, price=factories.price(), on=NOW, starts_on=NOW, by=by
    )
    services.record_receipt(household=child.household, amount=as_amount(26), method=Method.CARD, on=NOW, by=by)
    voucher = services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
    claim = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
    services.record_lodgement_paid(lodgement=claim, on=PAID, by=by)
    voucher.refresh_from_db()
    return voucher


@pytest.fixture
def leave(paid, by):
    def left(keep=0, on=LEFT):
        services.take_back(charge=paid.charge, on=on, reason="left", by=by, keep=as_amount(keep))

    return left


@pytest.fixture
def give_back(paid, by):
    def given(on=BACK, **more):
        return services.give_back(voucher=Voucher.objects.get(), on=on, by=by, **(AS_ASKED | more))

    return given
