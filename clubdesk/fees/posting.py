"""How fees become journal lines: pure functions, no database. Amounts are positive; the lines carry the signs."""

from collections.abc import Sequence
from decimal import Decimal

from djmoney.money import Money

from clubdesk.fees.models import FeeShare, Method
from clubdesk.ledger.models import Account, Party, Role
from clubdesk.ledger.posting import Line, credit, debit, without_nil
from clubdesk.money import as_amount, half_up, total

MONEY_ROLE = {Method.CASH: Role.TILL, Method.CARD: Role.CARD_TAKINGS, Method.TRANSFER: Role.BANK}


def income_lines(amount: Money, full_price: Money, income: Account, shares: Sequence[FeeShare]) -> list[Line]:
    """Credits for `amount` of a fee of `full_price`: each share in proportion (half a cent up), the club the rest."""
    part = amount.amount / full_price.amount if full_price.amount else Decimal(0)
    parts = [(share, as_amount(half_up(share.amount.amount * part))) for share in shares]
    own = amount - total(figure for _, figure in parts)
    return without_nil([credit(income, own), *(credit(share.account, figure, share.party) for share, figure in parts)])


def charge_lines(
    amount: Money, household: Party, *, starts_later: bool, income: Account, shares: Sequence[FeeShare]
) -> list[Line]:
    if starts_later:
        return [debit(Role.FEES_OWED, amount, household), credit(Role.FEES_IN_ADVANCE, amount)]
    return [debit(Role.FEES_OWED, amount, household), *income_lines(amount, amount, income, shares)]


def recognise_lines(amount: Money, full_price: Money, *, income: Account, shares: Sequence[FeeShare]) -> list[Line]:
    """The day a thing starts: `amount` of its fee is what has not been credited back."""
    return [debit(Role.FEES_IN_ADVANCE, amount), *income_lines(amount, full_price, income, shares)]


def credit_lines(
    amount: Money,
    household: Party,
    *,
    left_before: Money,
    full_price: Money,
    still_in_advance: bool,
    income: Account,
    shares: Sequence[FeeShare],
) -> list[Line]:
    """A fee credited back: the accounts first credited are debited.

    `left_before` is what of the fee had not been credited yet. Each share gives back the difference between its
    part of what was left and of what is left now, so that many small credits come to what one large one would.
    """
    back = credit(Role.FEES_OWED, amount, household)
    if still_in_advance:
        return [debit(Role.FEES_IN_ADVANCE, amount), back]
    now = income_lines(left_before - amount, full_price, income, shares)
    return [*_difference(income_lines(left_before, full_price, income, shares), now), back]


def _difference(before: Sequence[Line], now: Sequence[Line]) -> list[Line]:
    """The lines that bring the credits of `before` to those of `now`."""
    sums: dict[tuple[int, int | None], Line] = {}
    for sign, lines in ((-1, before), (1, now)):
        for line in lines:
            key = (line.account.pk, line.party.pk if line.party else None)  # type: ignore[union-attr]
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
