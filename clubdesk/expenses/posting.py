"""How volunteers' expenses become journal lines: pure functions, no database."""

from djmoney.money import Money

from clubdesk.ledger.models import Account, Fund, Party, Role
from clubdesk.ledger.posting import Line, credit, debit, without_nil


def approved_lines(amount: Money, tax: Money, account: Account, fund: Fund, household: Party) -> list[Line]:
    """`tax` of the amount is no expense, since the tax office gives it back."""
    lines = [debit(account, amount - tax, fund=fund), debit(Role.GST_PAID, tax, fund=fund)]
    return without_nil([*lines, credit(Role.OTHER_PAYABLES, amount, household, fund)])


def paid_lines(amount: Money, fund: Fund, household: Party) -> list[Line]:
    return [debit(Role.OTHER_PAYABLES, amount, household, fund), credit(Role.BANK, amount, fund=fund)]
