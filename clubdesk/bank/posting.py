"""How the bank room's documents become journal lines: pure functions, no database."""

from djmoney.money import Money

from clubdesk.ledger.models import Role
from clubdesk.ledger.posting import Line, credit, debit, without_nil


def settlement_lines(takings: Money, fee: Money) -> list[Line]:
    return without_nil(
        [debit(Role.BANK, takings - fee), debit(Role.BANK_FEES, fee), credit(Role.CARD_TAKINGS, takings)]
    )
