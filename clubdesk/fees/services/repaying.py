"""A family's credit paid back to it from the bank, and what the bank returns."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import posting, selectors
from clubdesk.fees.models import Charge, Repayment
from clubdesk.fees.services.charging import free, queue, release, settle, use
from clubdesk.fees.services.parts import lay_anew
from clubdesk.ledger import services as ledger
from clubdesk.money import as_amount, nil, positive, shown, total
from clubdesk.roll.models import Household
from clubdesk.verbs import verb


@verb(permission="bank.change_paymentrun", title="Record that a credit was repaid")
def repay_credit(
    *,
    household: Household,
    amount: Money,
    on: date,
    by: User,
    reference: str = "",
    has_paid: bool = False,
    key: uuid.UUID | None = None,
) -> Repayment:
    """Pay a household's credit back from the bank. Raises Refused for more than the credit.

    What a voucher gave it is not paid back where its scheme forbids that; where the bank did, it is owed again.
    Where the bank `has_paid` already, what the credit has come to pay since is owed again; and where a receipt behind
    it was cancelled since, the household owes what is missing until it pays that back.
    """
    household = queue(household)
    if found := ledger.written(Repayment, key):
        return found
    amount = positive(amount)
    if has_paid:
        _free_credit(household, amount, on)
    _refuse_beyond_the_credit(household, amount, has_paid=has_paid)
    document = Repayment.objects.create(
        key=key or uuid.uuid4(),
        household=household,
        amount=amount,
        paid_on=on,
        reference=reference,
        recorded_by=by,
    )
    left = amount.amount
    rows = selectors.receipts_with_payable().filter(household=household, payable__gt=0).order_by("-received_on", "-pk")
    for receipt in rows:
        part = min(left, receipt.payable)
        if part:
            use(receipt, as_amount(part), on, repayment=document)
        left -= part
    ledger.post(
        source=document,
        purpose="repaid",
        on=on,
        narration="Credit repaid",
        lines=posting.repayment_lines(amount, household.party),
        by=by,
    )
    return document


def _refuse_beyond_the_credit(household: Household, amount: Money, *, has_paid: bool) -> None:
    credit = selectors.unused_credit(household)
    if amount > credit + (selectors.cancelled_meanwhile(household) if has_paid else nil()):
        raise Refused(f"{household} has a credit of {shown(credit)}; no more than that can be repaid.")
    payable = selectors.payable_credit(household)
    if amount > payable and payable < credit and not has_paid:
        raise Refused(
            f"{shown(credit - payable)} of the credit of {household} came from a sport voucher, which is never given "
            f"back as money: no more than {shown(payable)} can be repaid. The rest pays the family’s next fees."
        )


def _free_credit(household: Household, amount: Money, on: date) -> None:
    """Let the latest charges go unpaid again, until the household has so much credit or nothing more is paid."""
    missing = amount - selectors.unused_credit(household)
    paid_ones = Charge.objects.filter(household=household, allocations__freed_on=None, allocations__isnull=False)
    for charge in paid_ones.distinct().order_by("-pk"):
        if missing <= nil():
            return
        paid = total(allocation.amount for allocation in charge.allocations.standing())
        release(charge=charge, amount=min(paid, missing), on=on)
        missing -= min(paid, missing)


@verb(permission="bank.change_paymentrun", title="Record that the bank returned a repaid credit")
def take_repayment_back(*, repayment: Repayment, on: date, reason: str, by: User) -> Repayment:
    """The bank returned a repayment: its entry is reversed and the household has its credit again."""
    household = queue(repayment.household)
    document = Repayment.objects.select_for_update(of=("self",), no_key=True).get(pk=repayment.pk)
    if document.returned_on:
        return document
    if on < document.paid_on:
        raise Refused(f"It was paid on {day_text(document.paid_on)}; it cannot have come back before.")
    if not reason.strip():
        raise Refused("Write what the bank says.")
    ledger.undo_entries_of(document=document, on=on, reason="returned by the bank", by=by)
    document.returned_on, document.return_reason = on, reason.strip()[:150]
    document.save(update_fields=["returned_on", "return_reason"])
    for allocation in document.allocations.standing():
        free(allocation, on)
    settle(household=household, on=on)
    lay_anew(household=household, on=on, by=by)
    return document
