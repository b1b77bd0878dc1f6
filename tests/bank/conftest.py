"""A payment run of a claim, an expense and a credit, for every test of the bank."""

from datetime import date

import pytest

from clubdesk.bank import services
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from tests import factories
from tests.bank.paying import LATER, NOW


@pytest.fixture
def account(book):
    return factories.direct_entry()


@pytest.fixture
def home(book):
    return factories.HouseholdFactory(name="Mirabar", guardian="Ida Mirabar", email="ida@example.org")


@pytest.fixture
def claim(by, approver, home):
    """An approved refund of 60."""
    child = factories.PersonFactory(household=home)
    start = date(2026, 7, 6)
    membership.take_out_membership(person=child, plan=factories.plan(), starts_on=start, on=start, by=by)
    entryfund.cash_in(containers=5000, amount=as_amount(500), paid_into=PaidInto.BANK, on=NOW, by=by)
    claimed = entryfund.record_claim(
        person=child,
        event=factories.event(),
        amount=as_amount(60),
        evidence=Evidence(b"receipt", "application/pdf"),
        on=NOW,
        by=by,
    )
    return entryfund.approve_claim(claim=claimed, by=approver, on=NOW)


@pytest.fixture
def spent(by, approver):
    """An approved expense of 25.50 of another household."""
    return expenses.approve_expense(expense=factories.expense(by), on=NOW, by=approver)


@pytest.fixture
def credit(by):
    """A household that has paid 40 too much."""
    household = factories.HouseholdFactory(name="Quoll")
    fees.record_receipt(household=household, amount=as_amount(40), method=Method.TRANSFER, on=NOW, by=by)
    return household


@pytest.fixture
def run(account, claim, spent, credit, treasurer, by):
    """A run of a refund, an expense and a credit, 125.50 in all."""
    for household in (claim.household, spent.household, credit):
        factories.bank_details(household, by, title=household.name)
    return services.make_run(
        bank_account=account,
        method="file",
        pay_on=LATER,
        on=NOW,
        by=treasurer,
        claims=[claim],
        expenses=[spent],
        credits=[credit],
    )


@pytest.fixture
def released(run, coordinator, treasurer):
    services.release_run(run=run, on=NOW, by=coordinator)
    services.make_file(run=run, by=treasurer)
    run.refresh_from_db()
    return run
