"""The club's own account, with which a book begins."""

from clubdesk.bank.models import BankAccount
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account


def begin() -> BankAccount:
    """Set up the bank account to which documents post. Raises Refused where the chart has no account for it."""
    return BankAccount.objects.create(name="Club account", account=account(Role.BANK))
