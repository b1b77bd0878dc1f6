"""How adjustments become journal lines: pure functions, no database. Amounts are positive unless said otherwise."""

from collections.abc import Mapping

from djmoney.money import Money

from clubdesk.ledger.models import Account, Fund, Role
from clubdesk.ledger.posting import Line, credit, debit, merged, without_nil


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


def gst_lines(collected: Mapping[Fund, Money], credits: Mapping[Fund, Money]) -> list[Line]:
    """What a return says leaves the tax accounts; the difference is owed to the tax office."""
    lines = [line for fund, tax in collected.items() for line in _settled(Role.GST_COLLECTED, tax, fund)]
    return merged([*lines, *(line for fund, tax in credits.items() for line in _settled(Role.GST_PAID, -tax, fund))])


def _settled(role: Role, tax: Money, fund: Fund) -> list[Line]:
    return [debit(role, tax, fund=fund), credit(Role.GST, tax, fund=fund)]


def disposal_lines(
    cost: Money, depreciated: Money, proceeds: Money, tax: Money, into: Account, fund: Fund
) -> list[Line]:
    """What the thing was still worth in the book, less what came for it without its GST, is the loss; below nil a gain.

    Source: IAS 16, paragraph 71 (from memory).
    """
    return without_nil(
        [
            debit(into, proceeds, fund=fund),
            debit(Role.DEPRECIATED, depreciated, fund=fund),
            debit(Role.DISPOSALS, cost - depreciated - proceeds + tax, fund=fund),
            credit(Role.GST_COLLECTED, tax, fund=fund),
            credit(Role.EQUIPMENT, cost, fund=fund),
        ]
    )
