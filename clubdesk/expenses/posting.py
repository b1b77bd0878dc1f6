"""How volunteers' expenses become journal lines: pure functions, no database."""

from djmoney.money import Money

from clubdesk.ledger.models import Account, Fund, Party, Role
from clubdesk.ledger.posting import Line, credit, debit


def approved_lines(amount: Money, account: Account, fund: Fund, household: Party) -> list[Line]:
    return [debit(account, amount, fund=fund), credit(Role.OTHER_PAYABLES, amount, household, fund)]


def paid_lines(amount: Money, fund: Fund, household: Party) -> list[Line]:
    return [debit(Role.OTHER_PAYABLES, amount, household, fund), credit(Role.BANK, amount, fund=fund)]
