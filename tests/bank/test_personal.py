"""What the bank holds about a family: told to it, kept from the others, and gone with the last of it."""

from datetime import date

import pytest

from clubdesk.bank import services
from clubdesk.bank.personal import TOLD
from clubdesk.desk.erasing import erase_person
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from tests import factories

pytestmark = pytest.mark.django_db
NOW, LONG_AFTER = date(2026, 9, 12), date(2040, 1, 1)


@pytest.fixture
def paid(book, by):
    """A function that gives the bank's posting of what a family paid."""

    def written(home, amount):
        receipt = fees.record_receipt(household=home, amount=as_amount(amount), method=Method.TRANSFER, on=NOW, by=by)
        return entries_of(receipt).get().postings.get(account__role=Role.BANK)

    return written


@pytest.fixture
def line(book, by):
    account = factories.direct_entry()

    def written(amount, text):
        return services.record_statement_line(bank_account=account, on=NOW, amount=as_amount(amount), text=text, by=by)

    return written


def told_to(home):
    return {(row[1], row[2]) for part in TOLD for row in part.rows(home)}


def test_a_family_is_told_the_banks_words_and_why_a_clearing_was_undone(paid, line, by):
    home = factories.HouseholdFactory()
    cleared = services.explain_line(line=line(40, "IDA MIRABAR"), posting=paid(home, 40), by=by)
    services.undo_clearing(clearing=cleared, on=NOW, reason="it was Ida’s sister", by=by)
    assert told_to(home) == {("Bank line", "IDA MIRABAR"), ("Undone", "it was Ida’s sister")}


def test_what_joins_several_families_is_told_to_none(paid, line, by):
    homes = [factories.HouseholdFactory() for _ in range(2)]
    both = [paid(home, 20) for home in homes]
    services.clear(lines=[line(40, "MIRABAR AND QUOLL")], postings=both, reasons="seen", by=by)
    assert told_to(homes[0]) == told_to(homes[1]) == set()


def test_bank_details_words_and_reasons_go_with_the_last_of_a_family(paid, line, by):
    child = factories.PersonFactory()
    home = child.household
    details = factories.bank_details(home, by, reason="Ida rang")
    stated = line(40, "IDA MIRABAR")
    cleared = services.explain_line(line=stated, posting=paid(home, 40), by=by)
    services.undo_clearing(clearing=cleared, on=NOW, reason="it was Ida’s sister", by=by)
    fees.repay_credit(household=home, amount=as_amount(40), on=NOW, by=by)
    erase_person(person=child, on=LONG_AFTER, by=by)
    for row in (details, stated, cleared):
        row.refresh_from_db()
    assert (details.title, details.bsb, details.account_number, details.reason) == ("erased", "", "", "erased")
    assert (stated.text, cleared.undo_reason) == ("erased", "erased")
