"""A book that has just been started, with its opening brought in, and what then happens at its bank."""

from datetime import date

from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.fees.services import bring_in_balances
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FundRole, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount, total
from tests import factories

FIRST = date(2026, 7, 1)
JULY, AUGUST, SEPTEMBER, OCTOBER = date(2026, 7, 31), date(2026, 8, 31), date(2026, 9, 30), date(2026, 10, 31)


def begin(by, bank_balance="4213.77"):
    """The opening of a club: bank, float, entry fund, what two families owe, equipment."""
    lines = [
        debit(Role.BANK, as_amount(bank_balance) - as_amount("612.40")),
        debit(Role.TILL, as_amount("100.00")),
        debit(Role.EQUIPMENT, as_amount("5000.00")),
        credit(Role.DEPRECIATED, as_amount("1500.00")),
    ]
    restricted = [debit(Role.BANK, as_amount("612.40"), fund=FundRole.ENTRY)]
    for found, fund in ((lines, FundRole.GENERAL), (restricted, FundRole.ENTRY)):
        held = total(line.amount for line in found)
        found.append(credit(Role.ACCUMULATED, held, fund=fund))
    opening = ledger.record_opening(narration="Opening", lines=[*lines, *restricted], by=by)
    owing = [factories.open_item(factories.HouseholdFactory(), amount) for amount in ("45.00", "126.00")]
    bring_in_balances(items=owing, by=by)
    return opening


def booked(by, amount, words, on):
    """An entry in the bank, money in positive; returns its line there."""
    other = Role.DONATIONS if as_amount(amount).amount > 0 else Role.BANK_FEES
    lines = [debit(Role.BANK, as_amount(amount)), credit(other, as_amount(amount))]
    return at_bank(ledger.record_journal(on=on, narration=words, lines=lines, by=by))


def at_bank(document, amount=None):
    """What the document's standing entry has in the bank."""
    rows = entries_of(document).filter(reversed_by=None, reverses=None).get().postings.filter(account__role=Role.BANK)
    return rows.get(amount=as_amount(amount)) if amount else rows.get()


def undoing(document):
    """What undid the document's entry, in the bank."""
    return entries_of(document).get().reversed_by.postings.get(account__role=Role.BANK)


def line(by, amount, words, on, *postings):
    """A line of the statement, and what it is."""
    found = bank.record_statement_line(
        bank_account=BankAccount.objects.get(), on=on, amount=as_amount(amount), text=words, by=by
    )
    if postings:
        bank.clear(lines=[found], postings=list(postings), reasons="seen", by=by)
    return found


def sign(by, until, balance, on):
    return bank.sign_off_month(
        bank_account=BankAccount.objects.get(), until=until, statement_balance=as_amount(balance), on=on, by=by
    )


def unsound():
    return [(result.name, result.faults) for result in check_all() if result.faults]
