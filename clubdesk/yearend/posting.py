"""How adjustments become journal lines: pure functions, no database. Amounts are positive unless said otherwise."""

from collections.abc import Mapping

from djmoney.money import Money

from clubdesk.ledger.models import Account, Fund, Role
from clubdesk.ledger.posting import Line, credit, debit, without_nil


def accrual_lines(amount: Money, expense: Account, fund: Fund) -> list[Line]:
    """A bill that has not come for something already had."""
    return [debit(expense, amount, fund=fund), credit(Role.OTHER_PAYABLES, amount, fund=fund)]


def prepayment_lines(amount: Money, expense: Account, fund: Fund) -> list[Line]:
    """A bill paid for something still to come."""
    return [debit(Role.PREPAYMENTS, amount, fund=fund), credit(expense, amount, fund=fund)]


def stock_lines(change: Money, materials: Account, fund: Fund) -> list[Line]:
    """`change` is what is counted less what the book says: below nil where materials were used up."""
    return [debit(Role.STOCK, change, fund=fund), credit(materials, change, fund=fund)]


def allowance_lines(change: Money, fund: Fund) -> list[Line]:
    """`change` is what is wanted less what stands: below nil where less is doubtful now."""
    return [debit(Role.WRITTEN_OFF, change, fund=fund), credit(Role.ALLOWANCE, change, fund=fund)]


def depreciation_lines(by_fund: dict[Fund, Money]) -> list[Line]:
    lines = []
    for fund, amount in by_fund.items():
        lines += [debit(Role.DEPRECIATION, amount, fund=fund), credit(Role.DEPRECIATED, amount, fund=fund)]
    return without_nil(lines)


def gst_lines(sales: Mapping[Account, Money], bills: Mapping[tuple[Account, Fund], Money]) -> list[Line]:
    """GST leaves the income and the expenses that it was in; what is left is owed to the tax office."""
    lines = []
    for account, amount in sales.items():
        lines += [debit(account, amount), credit(Role.GST, amount)]
    for (account, fund), amount in bills.items():
        lines += [debit(Role.GST, amount, fund=fund), credit(account, amount, fund=fund)]
    return without_nil(lines)


def disposal_lines(cost: Money, depreciated: Money, proceeds: Money, into: Account, fund: Fund) -> list[Line]:
    """What the thing was still worth in the book, less what came for it, is the loss; below nil a gain.

    Source: IAS 16, paragraph 71 (from memory).
    """
    return without_nil(
        [
            debit(into, proceeds, fund=fund),
            debit(Role.DEPRECIATED, depreciated, fund=fund),
            debit(Role.DISPOSALS, cost - depreciated - proceeds, fund=fund),
            credit(Role.EQUIPMENT, cost, fund=fund),
        ]
    )
