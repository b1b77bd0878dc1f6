"""Documents of the roll to journal lines: pure, no database."""

from collections.abc import Iterable, Iterator

from djmoney.money import Money

from clubdesk.ledger.models import Account, Fund, Party
from clubdesk.ledger.posting import Line


def merge_lines(balances: Iterable[tuple[Account, Fund, Money]], *, gone: Party, stays: Party) -> Iterator[Line]:
    """What the one stood at in each account and fund goes over to the other: debit positive."""
    for account, fund, amount in balances:
        yield Line(account, -amount, gone, fund)
        yield Line(account, amount, stays, fund)
