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
