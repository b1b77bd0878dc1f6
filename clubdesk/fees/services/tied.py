"""Credit that a voucher made by taking the place of a receipt, where its scheme forbids to give it back as money."""

from collections.abc import Sequence
from datetime import date

from djmoney.money import Money

from clubdesk.fees.models import NOTHING_CLAIMED, Allocation, GiveBack, Receipt, TiedCredit, Voucher
from clubdesk.money import nil, total

Freed = Sequence[tuple[Allocation, Money]]
"""What of which receipts made way for a voucher."""


def tie(voucher: Voucher, freed: Freed, on: date) -> None:
    """So much of the receipts is never paid back, as long as the voucher pays; what is tied already stays so."""
    if not voucher.scheme.no_money_back:
        return
    for allocation, amount in freed:
        if allocation.tied is None or allocation.tied.freed_on:
            _tie(voucher, allocation.receipt, amount, on)


def tied_by(voucher: Voucher) -> list[TiedCredit]:
    """What the voucher has tied."""
    return list(voucher.tied.filter(freed_on=None).select_related("receipt").order_by("pk"))


def tie_again(voucher: Voucher, before: Sequence[TiedCredit], on: date) -> None:
    """A voucher that is set against a fee anew keeps what it had tied `before`, as far as it still pays."""
    for each in before:
        if after := _tie(voucher, each.receipt, each.amount, on):
            _hand_on(each, after)


def _tie(voucher: Voucher, receipt: Receipt, amount: Money, on: date) -> TiedCredit | None:
    """Tie so much of a receipt, but never more than the voucher pays; None where it has tied all of that already."""
    amount = min(amount, voucher.amount - total(each.amount for each in tied_by(voucher)))
    if amount <= nil():
        return None
    return TiedCredit.objects.create(receipt=receipt, voucher=voucher, amount=amount, tied_on=on)


def untie(voucher: Voucher, on: date, back: GiveBack | None = None) -> None:
    """A voucher ended, was paid short or given `back`: no more stays tied than it pays."""
    standing = tied_by(voucher)[::-1]
    pays = nil() if voucher.state in NOTHING_CLAIMED else voucher.amount
    beyond = total(each.amount for each in standing) - pays
    for each in standing:
        if beyond <= nil():
            return
        each.freed_on, each.freed_by = max(on, each.tied_on), back
        each.save(update_fields=["freed_on", "freed_by"])
        if each.amount > beyond:
            rest = each.amount - beyond
            smaller = TiedCredit.objects.create(
                receipt=each.receipt, voucher=voucher, amount=rest, tied_on=each.freed_on
            )
            _hand_on(each, smaller)
        beyond -= each.amount


def tie_as_before(back: GiveBack, on: date) -> None:
    """What giving back freed is tied as before, since that was undone."""
    for receipt, amount in freed_by(back):
        TiedCredit.objects.create(receipt=receipt, voucher=back.voucher, amount=amount, tied_on=on)


def freed_by(back: GiveBack) -> list[tuple[Receipt, Money]]:
    """So much of which receipts was tied before it was given back and is not since; none that was cancelled."""
    found = []
    for each in back.freed.filter(receipt__cancelled_on=None).select_related("receipt").order_by("pk"):
        rest = back.voucher.tied.filter(freed_on=None, receipt=each.receipt, pk__gt=each.pk).first()
        found.append((each.receipt, each.amount - rest.amount if rest else each.amount))
    return found


def _hand_on(before: TiedCredit, after: TiedCredit) -> None:
    """What the larger one pays the smaller one pays, as far as it goes."""
    left = after.amount
    for allocation in before.allocations.standing().order_by("pk"):
        if allocation.amount <= left:
            left -= allocation.amount
            allocation.tied = after
            allocation.save(update_fields=["tied"])
