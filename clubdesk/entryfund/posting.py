"""How the entry fund's documents become journal lines: pure functions, no database."""

from djmoney.money import Money

from clubdesk.entryfund.models import PaidInto
from clubdesk.ledger.models import Fund, FundRole, Party, Role
from clubdesk.ledger.posting import Line, credit, debit

FUND = FundRole.ENTRY
MONEY_ROLE = {PaidInto.BANK: Role.BANK, PaidInto.TILL: Role.TILL}


def cashed_in_lines(amount: Money, paid_into: PaidInto) -> list[Line]:
    return [debit(MONEY_ROLE[paid_into], amount, fund=FUND), credit(Role.CONTAINERS, amount, fund=FUND)]


def moved_lines(amount: Money, from_fund: Fund, to_fund: Fund) -> list[Line]:
    """The money stays in the bank; each fund balances through the transfer account."""
    return [
        debit(Role.TRANSFERS, amount, fund=from_fund),
        credit(Role.BANK, amount, fund=from_fund),
        debit(Role.BANK, amount, fund=to_fund),
        credit(Role.TRANSFERS, amount, fund=to_fund),
    ]


def approved_lines(amount: Money, household: Party) -> list[Line]:
    return [
        debit(Role.ENTRY_REFUNDS, amount, fund=FUND),
        credit(Role.REFUNDS_PAYABLE, amount, household, FUND),
    ]


def paid_lines(amount: Money, household: Party) -> list[Line]:
    return [debit(Role.REFUNDS_PAYABLE, amount, household, FUND), credit(Role.BANK, amount, fund=FUND)]
