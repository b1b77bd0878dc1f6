"""Credit that a voucher made by taking the place of a receipt, where its scheme forbids to give it back as money."""

from collections.abc import Sequence
from datetime import date

from djmoney.money import Money

from clubdesk.fees.models import NOTHING_CLAIMED, Allocation, TiedCredit, Voucher
from clubdesk.money import nil, total

Freed = Sequence[tuple[Allocation, Money]]
"""What of which receipts made way for a voucher."""


def tie(voucher: Voucher, freed: Freed, on: date) -> None:
    """So much of the receipts is never paid back, as long as the voucher pays; what is tied already stays so."""
    if not voucher.scheme.no_money_back:
        return
    for allocation, amount in freed:
        if allocation.tied is None or allocation.tied.freed_on:
            TiedCredit.objects.create(receipt=allocation.receipt, voucher=voucher, amount=amount, tied_on=on)


def untie(voucher: Voucher, on: date) -> None:
    """A voucher ended, or was paid short: no more stays tied than it pays."""
    standing = list(voucher.tied.filter(freed_on=None).select_related("receipt").order_by("-pk"))
    pays = nil() if voucher.state in NOTHING_CLAIMED else voucher.amount
    beyond = total(each.amount for each in standing) - pays
    for each in standing:
        if beyond <= nil():
            return
        each.freed_on = max(on, each.tied_on)
        each.save(update_fields=["freed_on"])
        if each.amount > beyond:
            rest = each.amount - beyond
            smaller = TiedCredit.objects.create(
                receipt=each.receipt, voucher=voucher, amount=rest, tied_on=each.freed_on
            )
            _hand_on(each, smaller)
        beyond -= each.amount


def _hand_on(before: TiedCredit, after: TiedCredit) -> None:
    """What the larger one pays the smaller one pays, as far as it goes."""
    left = after.amount
    for allocation in before.allocations.standing().order_by("pk"):
        if allocation.amount <= left:
            left -= allocation.amount
            allocation.tied = after
            allocation.save(update_fields=["tied"])
