"""What the bank asks before a year is closed: statements of all money, months signed off, lines explained."""

from datetime import date

import pytest

from clubdesk.bank import closing, services
from clubdesk.bank.models import BankAccount
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, FinancialYear, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount

pytestmark = pytest.mark.django_db


@pytest.fixture
def year(book):
    return FinancialYear.objects.get()


@pytest.fixture
def hold(by):
    """Money on further accounts without a statement: `hold(2)` on two of them."""

    def held(count):
        for number in range(1, count + 1):
            account = Account.objects.create(
                code=f"109{number}", name=f"Cash box {number}", kind="asset", is_money=True
            )
            lines = [debit(account, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
            ledger.record_journal(on=date(2026, 9, 12), narration="Raffle", lines=lines, by=by)

    return held


@pytest.mark.parametrize(
    ("count", "named"),
    [
        (1, "1091 Cash box 1"),
        (3, "1091 Cash box 1, 1092 Cash box 2, 1093 Cash box 3"),
        (4, "1091 Cash box 1, 1092 Cash box 2, 1093 Cash box 3 and 1 more"),
    ],
)
def test_money_without_statements_is_named_three_of_it_at_most(year, hold, count, named):
    hold(count)
    found = closing.money_is_at_a_bank(year)
    assert not found.done
    assert found.said == f"Nothing proves {named}; set it up as a bank account and import its statements."


def test_an_account_that_never_held_anything_needs_no_statement(year):
    Account.objects.create(code="1091", name="Cash box", kind="asset", is_money=True)
    assert closing.money_is_at_a_bank(year).done


def test_a_line_counts_to_the_last_day_of_the_year(year, by):
    account = BankAccount.objects.get()
    for day in (date(2027, 6, 30), date(2027, 7, 1)):
        services.record_statement_line(bank_account=account, on=day, amount=as_amount(5), text="CASH", by=by)
    found = closing.lines_explained(year)
    assert (found.done, found.said) == (False, "1 lines of the bank are not matched.")
