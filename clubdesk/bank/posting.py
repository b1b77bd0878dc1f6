"""How the bank room's documents become journal lines: pure functions, no database."""

from djmoney.money import Money

from clubdesk.ledger.models import Account, Fund, Party, Role
from clubdesk.ledger.posting import Line, credit, debit, without_nil


def rule_lines(amount: Money, bank: Account, other: Account, party: Party | None, fund: Fund) -> list[Line]:
    """A statement line that a rule speaks of; money in positive."""
    return [debit(bank, amount, fund=fund), credit(other, amount, party, fund)]


def settlement_lines(takings: Money, fee: Money) -> list[Line]:
    return without_nil(
        [debit(Role.BANK, takings - fee), debit(Role.BANK_FEES, fee), credit(Role.CARD_TAKINGS, takings)]
    )


def transfer_lines(amount: Money, own: Account, other: Account) -> list[Line]:
    """Money between two accounts of the club; what comes into its own account is positive."""
    return [debit(own, amount), credit(other, amount)]


def held_lines(amount: Money, bank: Account) -> list[Line]:
    """What the bank put in or took out by mistake, until it puts it right; money in positive."""
    return [debit(bank, amount), credit(Role.SUSPENSE, amount)]
