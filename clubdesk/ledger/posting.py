"""Lines of journal entries before they are written: pure, no database."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from djmoney.money import Money

from clubdesk.ledger.models import Account, Fund, FundRole, Party, Role
from clubdesk.money import nil


@dataclass(frozen=True)
class Line:
    """One line to post: debit positive, credit negative; the account and fund by role or by themselves."""

    account: Role | Account
    amount: Money
    party: Party | None = None
    fund: FundRole | Fund = FundRole.GENERAL

    @property
    def fund_code(self) -> str:
        return self.fund.code if isinstance(self.fund, Fund) else self.fund.value


def debit(
    account: Role | Account,
    amount: Money,
    party: Party | None = None,
    fund: FundRole | Fund = FundRole.GENERAL,
) -> Line:
    return Line(account, amount, party, fund)


def credit(
    account: Role | Account,
    amount: Money,
    party: Party | None = None,
    fund: FundRole | Fund = FundRole.GENERAL,
) -> Line:
    return Line(account, -amount, party, fund)


def without_nil(lines: Iterable[Line]) -> list[Line]:
    return [line for line in lines if line.amount != nil()]


def negated(lines: Iterable[Line]) -> list[Line]:
    return [replace(line, amount=-line.amount) for line in lines]


def merged(lines: Iterable[Line]) -> list[Line]:
    """One line for each account, party and fund, in the order in which they first stand; none that is nil."""
    sums: dict[tuple[Role | Account, Party | None, str], Line] = {}
    for line in lines:
        key = (line.account, line.party, line.fund_code)
        sums[key] = replace(line, amount=sums[key].amount + line.amount) if key in sums else line
    return without_nil(sums.values())


def difference(before: Iterable[Line], now: Iterable[Line]) -> list[Line]:
    """The lines that bring what `before` posted to what `now` does."""
    return merged([*negated(before), *now])


def what_is_left(lines: Sequence[Line]) -> list[Line]:
    """The club's own, a line for each fund in which what it had and what it owed differ: Accumulated funds."""
    funds = {line.fund_code: line.fund for line in lines}
    left = {code: sum((line.amount for line in lines if line.fund_code == code), nil()) for code in funds}
    return [credit(Role.ACCUMULATED, left[code], fund=fund) for code, fund in funds.items() if left[code]]
