"""How fees become journal lines: pure functions, no database. Amounts are positive; the lines carry the signs."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Protocol

from djmoney.money import Money

from clubdesk.fees.models import Method
from clubdesk.ledger.models import Account, Party, Role
from clubdesk.ledger.posting import Line, credit, debit, difference, without_nil
from clubdesk.money import as_amount, gst_in, half_up, nil, total

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


def income_lines(left: Money, income: Account, shares: Sequence[Share], *, taxed: bool = False) -> list[Line]:
    """Credits for what is `left` of a fee: the shares as they stand, the club the rest; less the GST where `taxed`."""
    parts = shares_left(left, shares)
    others = [credit(share.account, part, share.party) for share, part in zip(shares, parts, strict=True)]
    lines = [credit(income, left - total(parts)), *others]
    return without_nil(_net_of_tax(lines) if taxed else lines)


def tax_in(left: Money, shares: Sequence[Share]) -> Money:
    """The GST in what is `left` of a taxed fee: one eleventh of what the club itself supplies.

    What is collected for an association is its supply and no part of the club's; each fee is rounded by itself. Whether
    the club collects as an agent is for its accountant to say. Source: GST Act, s 9-70 (rate) and s 9-90 (rounding).
    """
    return gst_in(_supplied(left, shares))


def _supplied(left: Money, shares: Sequence[Share]) -> Money:
    parts = zip(shares, shares_left(left, shares), strict=True)
    return left - total(part for share, part in parts if share.party)


def _net_of_tax(lines: Sequence[Line]) -> list[Line]:
    """The GST leaves the club's own income; where that is of several accounts, their sum is what is rounded."""
    supplied, tax, net = nil(), nil(), []
    for line in lines:
        if line.party is None:
            supplied -= line.amount
            line, tax = replace(line, amount=line.amount + gst_in(supplied) - tax), gst_in(supplied)
        net.append(line)
    return [*net, credit(Role.GST_COLLECTED, tax)]


def advance_lines(left: Money, shares: Sequence[Share], *, taxed: bool) -> list[Line]:
    """Credits for what is `left` of a fee whose thing has not started: it waits, and its GST is owed already."""
    tax = tax_in(left, shares) if taxed else nil()
    return without_nil([credit(Role.FEES_IN_ADVANCE, left - tax), credit(Role.GST_COLLECTED, tax)])


def charge_lines(
    amount: Money,
    household: Party,
    *,
    starts_later: bool,
    income: Account,
    shares: Sequence[Share],
    taxed: bool = False,
) -> list[Line]:
    owed = debit(Role.FEES_OWED, amount, household)
    if starts_later:
        return [owed, *advance_lines(amount, shares, taxed=taxed)]
    return [owed, *income_lines(amount, income, shares, taxed=taxed)]


def recognise_lines(amount: Money, *, income: Account, shares: Sequence[Share], taxed: bool = False) -> list[Line]:
    """The day a thing starts: `amount` of its fee is what has not been credited back. Its GST was posted before."""
    waited = advance_lines(amount, shares, taxed=taxed)
    return difference(waited, income_lines(amount, income, shares, taxed=taxed))


def credit_lines(
    amount: Money,
    household: Party,
    *,
    left_before: Money,
    still_in_advance: bool,
    income: Account,
    shares: Sequence[Share],
    taxed: bool = False,
) -> list[Line]:
    """A fee credited back: the accounts first credited are debited.

    `left_before` is what of the fee had not been credited yet. A credit comes off the club's own part first; each
    share, and the GST, gives back the difference between what stood of it and stands now, so that many small credits
    come to what one large one would.
    """
    left, back = left_before - amount, credit(Role.FEES_OWED, amount, household)
    if still_in_advance:
        before, now = (advance_lines(each, shares, taxed=taxed) for each in (left_before, left))
    else:
        before, now = (income_lines(each, income, shares, taxed=taxed) for each in (left_before, left))
    return [*difference(before, now), back]


def tax_credited(amount: Money, left_before: Money, shares: Sequence[Share]) -> Money:
    """The GST that a credit of `amount` gives back, an adjustment. Source: GST Act, Division 19 (from memory)."""
    return tax_in(left_before, shares) - tax_in(left_before - amount, shares)


def tax_written_off(amount: Money, left: Money, shares: Sequence[Share]) -> Money:
    """The GST in `amount` written off of a fee of which `left` was not credited: one eleventh of the club's part of it.

    Source: GST Act, s 21-5. The Act knows no such part; that a mixed fee is lost in proportion is this book's rule.
    """
    return as_amount(half_up(amount.amount * _supplied(left, shares).amount / left.amount / 11))


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


def write_off_lines(amount: Money, household: Party, tax: Money | None = None) -> list[Line]:
    """`tax` is the GST in it, which is no longer owed either."""
    tax = tax or nil()
    lines = [debit(Role.WRITTEN_OFF, amount - tax), debit(Role.GST_COLLECTED, tax)]
    return without_nil([*lines, credit(Role.FEES_OWED, amount, household)])


def voucher_accepted_lines(amount: Money, department: Party, household: Party) -> list[Line]:
    return [debit(Role.VOUCHERS_OWED, amount, department), credit(Role.FEES_OWED, amount, household)]


def voucher_short_lines(amount: Money, department: Party, household: Party) -> list[Line]:
    """What the department pays less than was claimed: the family owes it again."""
    return voucher_refused_lines(amount, department, household)


def voucher_refused_lines(amount: Money, department: Party, household: Party) -> list[Line]:
    return [debit(Role.FEES_OWED, amount, household), credit(Role.VOUCHERS_OWED, amount, department)]


def voucher_moved_lines(amount: Money, before: Party, now: Party) -> list[Line]:
    """The child belongs to another family: what its voucher pays is paid for that one, and no longer for the first."""
    return [debit(Role.FEES_OWED, amount, before), credit(Role.FEES_OWED, amount, now)]


def give_back_lines(amount: Money, department: Party, household: Party) -> list[Line]:
    """What of a paid voucher the department gets back: it pays so much less of the family's fee."""
    return [debit(Role.FEES_OWED, amount, household), credit(Role.OTHER_PAYABLES, amount, department)]


def give_back_paid_lines(amount: Money, department: Party) -> list[Line]:
    return [debit(Role.OTHER_PAYABLES, amount, department), credit(Role.BANK, amount)]


def lodgement_paid_lines(amount: Money, department: Party) -> list[Line]:
    return [debit(Role.BANK, amount), credit(Role.VOUCHERS_OWED, amount, department)]
