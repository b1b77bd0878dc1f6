"""How fees become journal lines: pure functions, no database. Amounts are positive; the lines carry the signs."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Protocol

from djmoney.money import Money

from clubdesk.fees.models import Method
from clubdesk.ledger.models import Account, Party, Role
from clubdesk.ledger.posting import Line, credit, debit, without_nil
from clubdesk.money import as_amount, half_up, total

MONEY_ROLE = {Method.CASH: Role.TILL, Method.CARD: Role.CARD_TAKINGS, Method.TRANSFER: Role.BANK}


class Share(Protocol):
    """A part of a fee that is not the club's own income of it: a price's, or a charge's."""

    account: Account
    party: Party | None
    amount: Money


def parts_left(left: Decimal, shares: Sequence[Decimal]) -> list[Decimal]:
    """What of each share stands while `left` of the fee does: all of it until the club's own part is used up.

    Beyond that each gives way in proportion, half a cent up.
    """
    passed_on = sum(shares, Decimal(0))
    if left >= passed_on:
        return list(shares)
    parts, rest = [], left
    for share in shares:
        parts.append(min(half_up(share * left / passed_on), rest))
        rest -= parts[-1]
    return parts


def shares_left(left: Money, shares: Sequence[Share]) -> list[Money]:
    """The same in amounts of the book."""
    return [as_amount(part) for part in parts_left(left.amount, [share.amount.amount for share in shares])]


def income_lines(left: Money, income: Account, shares: Sequence[Share]) -> list[Line]:
    """Credits for what is `left` of a fee: the shares as they stand, the club the rest."""
    parts = shares_left(left, shares)
    others = [credit(share.account, part, share.party) for share, part in zip(shares, parts, strict=True)]
    return without_nil([credit(income, left - total(parts)), *others])


def charge_lines(
    amount: Money, household: Party, *, starts_later: bool, income: Account, shares: Sequence[Share]
) -> list[Line]:
    if starts_later:
        return [debit(Role.FEES_OWED, amount, household), credit(Role.FEES_IN_ADVANCE, amount)]
    return [debit(Role.FEES_OWED, amount, household), *income_lines(amount, income, shares)]


def recognise_lines(amount: Money, *, income: Account, shares: Sequence[Share]) -> list[Line]:
    """The day a thing starts: `amount` of its fee is what has not been credited back."""
    return [debit(Role.FEES_IN_ADVANCE, amount), *income_lines(amount, income, shares)]


def credit_lines(
    amount: Money,
    household: Party,
    *,
    left_before: Money,
    still_in_advance: bool,
    income: Account,
    shares: Sequence[Share],
) -> list[Line]:
    """A fee credited back: the accounts first credited are debited.

    `left_before` is what of the fee had not been credited yet. A credit comes off the club's own part first; each
    share gives back the difference between what stood of it and stands now, so that many small credits come to what
    one large one would.
    """
    back = credit(Role.FEES_OWED, amount, household)
    if still_in_advance:
        return [debit(Role.FEES_IN_ADVANCE, amount), back]
    now = income_lines(left_before - amount, income, shares)
    return [*_difference(income_lines(left_before, income, shares), now), back]


def _difference(before: Sequence[Line], now: Sequence[Line]) -> list[Line]:
    """The lines that bring the credits of `before` to those of `now`."""
    sums: dict[tuple[Account | Role, Party | None], Line] = {}
    for sign, lines in ((-1, before), (1, now)):
        for line in lines:
            key = (line.account, line.party)
            moved = line.amount * sign
            sums[key] = Line(line.account, sums[key].amount + moved if key in sums else moved, line.party)
    return without_nil(sums.values())


def receipt_lines(amount: Money, rounding: Money, method: Method, household: Party) -> list[Line]:
    return without_nil(
        [
            debit(MONEY_ROLE[method], amount - rounding),
            debit(Role.CASH_ROUNDING, rounding),
            credit(Role.FEES_OWED, amount, household),
        ]
    )


def opening_lines(balances: Sequence[tuple[Party, Money]]) -> list[Line]:
    """What each household owes (above zero) or is in credit by (below), against what the club had accumulated."""
    owed = [debit(Role.FEES_OWED, amount, household) for household, amount in balances]
    return without_nil([*owed, credit(Role.ACCUMULATED, total(amount for _, amount in balances))])


def repayment_lines(amount: Money, household: Party) -> list[Line]:
    return [debit(Role.FEES_OWED, amount, household), credit(Role.BANK, amount)]


def write_off_lines(amount: Money, household: Party) -> list[Line]:
    return [debit(Role.WRITTEN_OFF, amount), credit(Role.FEES_OWED, amount, household)]


def voucher_accepted_lines(amount: Money, department: Party, household: Party) -> list[Line]:
    return [debit(Role.VOUCHERS_OWED, amount, department), credit(Role.FEES_OWED, amount, household)]


def voucher_short_lines(amount: Money, department: Party, household: Party) -> list[Line]:
    """What the department pays less than was claimed: the family owes it again."""
    return voucher_refused_lines(amount, department, household)


def voucher_refused_lines(amount: Money, department: Party, household: Party) -> list[Line]:
    return [debit(Role.FEES_OWED, amount, household), credit(Role.VOUCHERS_OWED, amount, department)]


def lodgement_paid_lines(amount: Money, department: Party) -> list[Line]:
    return [debit(Role.BANK, amount), credit(Role.VOUCHERS_OWED, amount, department)]
