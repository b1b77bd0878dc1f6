"""A voucher that was paid and whose child left is owed to its department, and paid to it."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import counting, givingback, letters, posting, selectors
from clubdesk.fees.models import ChargeCredit, GiveBack, GiveBackState, Voucher, VoucherState
from clubdesk.fees.services.charging import lock_charges, release, settle
from clubdesk.fees.services.crediting import take_back
from clubdesk.fees.services.parts import lay_anew
from clubdesk.fees.services.paying_back import locked, pay, take_payment_back
from clubdesk.fees.services.tied import freed_by, tie_as_before, untie
from clubdesk.fees.states import GIVE_BACK
from clubdesk.ledger import services as ledger
from clubdesk.money import nil, shown
from clubdesk.verbs import part, verb


@verb(permission="fees.add_giveback", title="Give the voucher back to the department")
def give_back(
    *, voucher: Voucher, invoice: str, pay_to: str, reason: str, on: date, by: User, key: uuid.UUID | None = None
) -> GiveBack:
    """What the scheme does not let the club keep of a paid voucher is owed to the department, and paid in a run.

    The fee is credited of as much as nobody owes any more. Of a voucher that is given back whole nothing counts in the
    child's year. Raises Refused for one that is not paid, whose child has not left, and of which the club keeps all.
    """
    lock_charges([voucher.charge])
    if found := ledger.written(GiveBack, key) or GiveBack.objects.filter(voucher=voucher, undone_on=None).first():
        return found
    rows = Voucher.objects.select_for_update(of=("self",), no_key=True)
    document = rows.select_related(
        "scheme__department", "person", "charge__household__party", "lodgement", "charge__price__item"
    ).get(pk=voucher.pk)
    _refuse_unsaid(invoice, pay_to, reason)
    owed, why = givingback.owed_back(document)
    if owed <= nil():
        raise Refused(why)
    paid_on = document.lodgement.paid_on if document.lodgement else None
    if paid_on and on < paid_on:
        raise Refused(f"The department paid it on {day_text(paid_on)}; it cannot be owed back before.")
    household, department = document.charge.household, document.scheme.department
    back = GiveBack.objects.create(
        key=key or uuid.uuid4(), voucher=document, household=household, amount=owed, asked_on=on,
        invoice=invoice.strip()[:40], pay_to=pay_to.strip()[:120], reason=reason.strip()[:150], recorded_by=by,
    )  # fmt: skip
    _pays_less(document, owed, back)
    untie(document, on, back)
    ledger.post(
        source=back,
        purpose="approve",
        on=on,
        narration=f"Voucher {document.masked_code} owed back to {department}",
        lines=posting.give_back_lines(owed, department, household.party),
        by=by,
    )
    taken = take_back(
        charge=document.charge, on=on, reason="its voucher was given back", by=by, keep=document.charge.kept
    )
    if taken.credited > nil():
        back.credit = ChargeCredit.objects.filter(charge=document.charge).latest("pk")
        back.save(update_fields=["credit"])
    settle(household=household, on=on)
    if owed > taken.credited:
        said_of_it = f"was given back to {department}: {back.reason}"
        letters.tell_voucher(document, said_of_it, owed, min(taken.credited, owed), about="given back")
    return back


def _pays_less(voucher: Voucher, owed: Money, back: GiveBack) -> None:
    """By what is owed back; a voucher of which all is owed has ended."""
    if owed == voucher.amount:
        voucher.state, voucher.ended_on, voucher.end_reason = VoucherState.RETURNED, back.asked_on, back.reason
    else:
        voucher.amount, voucher.given_back = voucher.amount - owed, owed
    voucher.save(update_fields=["state", "ended_on", "end_reason", "amount", "given_back"])


def _refuse_unsaid(invoice: str, pay_to: str, reason: str) -> None:
    for what, text in (("number", invoice), ("account to pay to", pay_to)):
        if not text.strip():
            raise Refused(f"Write the {what}, as the department’s invoice has it.")
    if not reason.strip():
        raise Refused("Say why the voucher is given back.")


@verb(permission="bank.change_paymentrun", title="Record that a voucher was paid back")
def pay_give_back(*, back: GiveBack, on: date, by: User, reference: str = "") -> GiveBack:
    """It went to the department by bank transfer. Raises Refused before the day on which it was owed."""
    document = locked(back, "voucher__scheme__department")
    if on < document.asked_on:
        raise Refused(f"It is owed since {day_text(document.asked_on)}; it cannot be paid before.")
    return pay(
        document,
        on=on,
        by=by,
        reference=reference,
        narration=f"Voucher {document.voucher.masked_code} paid back, invoice {document.invoice}",
        lines=posting.give_back_paid_lines(document.amount, document.voucher.scheme.department),
    )


@verb(permission="bank.change_paymentrun", title="Record that the bank returned a voucher that was paid back")
def take_give_back_back(*, back: GiveBack, on: date, by: User) -> GiveBack:
    """The bank returned the payment; what is owed to the department waits to be paid again."""
    return take_payment_back(back, on=on, by=by)


def lock_give_back(back: GiveBack) -> GiveBack:
    """It and what it changed, read anew, in the order of locks: families, fee, voucher, itself."""
    lock_charges([back.voucher.charge])
    rows = Voucher.objects.select_for_update(of=("self",), no_key=True)
    voucher = rows.select_related("scheme", "person", "charge__price__item").get(pk=back.voucher_id)
    document = locked(back, "credit__charge")
    document.voucher = voucher
    return document


@part
def undo_giving_back(*, back: GiveBack, on: date, reason: str, by: User) -> GiveBack:
    """The voucher pays again what was owed back of it; `back` is locked already, with the book, and in no run.

    Its entry is reversed, and that of what was credited with it; receipts that came in its place make way. A family
    that had been asked for it is told. Raises Refused where it was paid, where the voucher's place in the year or the
    fee is another's by now, and without a reason.
    """
    GIVE_BACK.refuse_unless(back.state, GiveBackState.UNDONE, PAID_ALREADY)
    if not reason.strip():
        raise Refused("Say why the voucher is not given back after all.")
    if on < back.asked_on:
        raise Refused(f"It is owed since {day_text(back.asked_on)}; that cannot be undone before.")
    if why := _why_it_stays(back):
        raise Refused(why)
    voucher, credit = back.voucher, back.credit
    credited = credit.amount if credit else nil()
    release(charge=voucher.charge, amount=back.amount - credited - selectors.open_amount(voucher.charge), on=on)
    back.state, back.undone_on, back.undo_reason = GiveBackState.UNDONE, on, reason.strip()[:150]
    back.save(update_fields=["state", "undone_on", "undo_reason"])
    ledger.undo_entries_of(document=back, on=on, reason="giving back was undone", by=by)
    if credit:
        ledger.undo_entries_of(document=credit, on=on, reason="giving back was undone", by=by)
        credit.cancelled_on, credit.cancel_reason = max(on, credit.credited_on), "its voucher was not given back"
        credit.save(update_fields=["cancelled_on", "cancel_reason"])
    if voucher.state == VoucherState.RETURNED:
        voucher.state, voucher.ended_on, voucher.end_reason = VoucherState.PAID, None, ""
    else:
        voucher.amount, voucher.given_back = voucher.amount + back.amount, nil()
    voucher.save(update_fields=["state", "ended_on", "end_reason", "amount", "given_back"])
    tie_as_before(back, on)
    settle(household=back.household, on=on)
    lay_anew(household=back.household, on=on, by=by)
    if back.amount > credited:
        letters.tell_not_given_back(back, back.amount - credited)
    return back


PAID_ALREADY = "It was paid to the department; where the bank returns the payment, record that first."


def _why_it_stays(back: GiveBack) -> str:
    """Why giving back cannot be undone any more, as a sentence; blank where it can."""
    voucher, charge, credit = back.voucher, back.voucher.charge, back.credit
    if voucher.state == VoucherState.RETURNED:
        if why := counting.why_no_more(voucher.scheme, voucher.person, voucher.calendar_year, voucher.window):
            return f"{why} Where that voucher is not claimed after all, this can be undone."
        if counting.is_used(voucher.scheme, voucher.code):
            return "A voucher with this code was taken since; where it is not claimed after all, this can be undone."
    if again := givingback.charged_again(back):
        return f"{again} was charged again since, on {day_text(again.charged_on)}; withdraw from that first."
    if credit and (credit.charge_id != charge.pk or _credited_since(credit)):
        return f"{charge} was credited otherwise since the voucher was given back; that stays as it is."
    if credit and credit.from_advance and charge.recognised_on:
        return f"{charge} became income on {day_text(charge.recognised_on)}, without what was given back of it."
    room = selectors.creditable(charge) + (credit.amount if credit else nil())
    if room < back.amount:
        return f"Of {charge} only {shown(room)} is left to pay, since a part was written off; undo that first."
    for receipt, amount in freed_by(back):
        row = selectors.receipts_with_payable().get(pk=receipt.pk)
        if amount.amount + row.tied_up + row.repaid > row.amount.amount:
            return f"{receipt}, which the voucher took the place of, was paid back to the family since."
    return ""


def _credited_since(credit: ChargeCredit) -> bool:
    return ChargeCredit.objects.filter(charge=credit.charge_id, pk__gt=credit.pk, cancelled_on=None).exists()
