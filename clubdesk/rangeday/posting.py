"""How a range day becomes journal lines: pure functions, no database."""

from collections.abc import Sequence

from djmoney.money import Money

from clubdesk.fees.posting import Share, income_lines
from clubdesk.ledger.models import Account, Role
from clubdesk.ledger.posting import Line, credit, debit, without_nil
from clubdesk.rangeday.models import Paid

MONEY_ROLE = {Paid.CASH: Role.TILL, Paid.CARD: Role.CARD_TAKINGS}


def sign_on_lines(
    amount: Money, rounding: Money, paid: Paid, *, income: Account, shares: Sequence[Share], taxed: bool = False
) -> list[Line]:
    """A fee paid at the range by somebody with no account; where it is `taxed`, its GST leaves the income."""
    return without_nil(
        [
            debit(MONEY_ROLE[paid], amount - rounding),
            debit(Role.CASH_ROUNDING, rounding),
            *income_lines(amount, income, shares, taxed=taxed),
        ]
    )


def count_lines(cash: Money, card: Money) -> list[Line]:
    """What was counted less what was expected: positive where the tin, or the reader's slip, is over."""
    return without_nil(
        [debit(Role.TILL, cash), debit(Role.CARD_TAKINGS, card), credit(Role.CASH_OVER_SHORT, cash + card)]
    )


def banking_lines(amount: Money) -> list[Line]:
    return [debit(Role.BANK, amount), credit(Role.TILL, amount)]
