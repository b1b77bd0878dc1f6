"""A family's account over time: statements by mail, write-offs, and a payment meant for another fee."""

import uuid
from collections.abc import Sequence
from datetime import date

from django.contrib.auth.models import User
from django.db import transaction
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import accounts, letters, posting, selectors
from clubdesk.fees.asking import paid_into
from clubdesk.fees.models import Charge, Receipt, WriteOff
from clubdesk.fees.services.charging import free, queue, settle, use_for
from clubdesk.fees.services.crediting import take_back
from clubdesk.fees.services.parts import lay_anew
from clubdesk.ledger import services as ledger
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import unwritten, wording
from clubdesk.mail.services import write, write_message
from clubdesk.money import as_amount, nil, positive, shown
from clubdesk.roll.models import Guardian, Household
from clubdesk.verbs import NOBODY, verb


@verb(permission="fees.add_writeoff", title="Write this debt off")
def write_off(
    *, charge: Charge, amount: Money, on: date, reason: str, by: User, key: uuid.UUID | None = None
) -> WriteOff:
    """The club no longer expects `amount` of a charge to be paid: it becomes an expense.

    Raises Refused for more than is still to pay, without a reason, and for a fee that has not become income yet,
    which is credited instead. The GST in it is not owed any more (GST Act, Division 21).
    """
    household = queue(charge.household)
    if found := ledger.written(WriteOff, key):
        return found
    row = Charge.objects.select_for_update(of=("self",), no_key=True).get(pk=charge.pk)
    amount = positive(amount, "The write-off")
    left = selectors.open_amount(row)
    if amount > left:
        raise Refused(f"Only {shown(left)} of this charge is still to pay; no more than that can be written off.")
    if row.waits and row.recognised_on is None:
        raise Refused("This fee is not income yet; credit it instead of writing it off.")
    if not reason.strip():
        raise Refused("Say why the debt is written off; the committee and the auditor will ask.")
    uncredited = row.amount - selectors.credited(row)
    tax = posting.tax_written_off(amount, uncredited, selectors.shares_of(row)) if row.is_taxed else nil()
    document = WriteOff.objects.create(
        key=key or uuid.uuid4(),
        charge=row,
        amount=amount,
        tax=tax,
        written_off_on=on,
        reason=reason.strip()[:150],
        recorded_by=by,
    )
    ledger.post(
        source=document,
        purpose="written_off",
        on=on,
        narration=f"Written off: {row.named}",
        lines=posting.write_off_lines(amount, household.party, tax),
        by=by,
    )
    lay_anew(household=household, on=on, by=by)
    return document


@verb(permission="fees.add_writeoff", title="Undo the write-off")
def take_up_again(*, write_off: WriteOff, on: date, reason: str, by: User) -> WriteOff:
    """A debt that was written off is expected again, for instance since the family has paid; its entry is reversed.

    A fee taken back meanwhile stays so: that part of it is credited now.
    """
    household = queue(write_off.charge.household, write_off.charge.person)
    charge = Charge.objects.select_for_update(of=("self",), no_key=True).get(pk=write_off.charge_id)
    document = WriteOff.objects.select_for_update(of=("self",), no_key=True).get(pk=write_off.pk)
    if document.cancelled_on:
        return document
    if on < document.written_off_on:
        raise Refused(
            f"It was written off on {day_text(document.written_off_on)}; the write-off cannot be undone before."
        )
    ledger.undo_entries_of(document=document, on=on, reason="the write-off was undone", by=by)
    document.cancelled_on, document.cancel_reason = on, reason.strip()[:150]
    document.save(update_fields=["cancelled_on", "cancel_reason"])
    if charge.taken_back_on:
        why = "what was written off was expected again"
        take_back(charge=charge, on=on, reason=why, by=by, keep=charge.kept)
    settle(household=household, on=on)
    return document


@verb(permission="fees.add_receipt", title="Let it pay another fee")
def pay_with(*, receipt: Receipt, charges: Sequence[Charge], on: date, by: User) -> Receipt:
    """From `on` let a receipt pay the chosen charges first, then the oldest, in place of what it pays now.

    For a payment that was meant for another child or fee: nothing is posted, since the household owes the same.
    Raises Refused for a cancelled receipt and for charges of another household.
    """
    household = queue(receipt.household)
    document = Receipt.objects.select_for_update(of=("self",), no_key=True).get(pk=receipt.pk)
    if document.cancelled_on:
        raise Refused("This receipt was cancelled; it pays for nothing.")
    if any(charge.household_id != household.pk for charge in charges):
        raise Refused("A receipt pays only for the family's own charges.")
    ledger.lock_book()
    ledger.refuse_shut(on)
    for allocation in document.allocations.standing().filter(repayment=None):
        free(allocation, on)
    left = as_amount(selectors.receipts_with_unused().get(pk=document.pk).unused)
    for charge in charges:
        part = min(left, _make_room(charge, document, left, on))
        if part > nil():
            use_for(charge, document, part, on)
            left -= part
    settle(household=household, on=on)
    return document


def _make_room(charge: Charge, receipt: Receipt, wanted: Money, on: date) -> Money:
    """What of the charge this receipt can pay, once other receipts make way; they pay something else instead."""
    missing = wanted - selectors.open_amount(charge)
    for allocation in charge.allocations.standing().exclude(receipt=receipt).order_by("-pk"):
        if missing <= nil():
            break
        freed = min(allocation.amount, missing)
        missing -= freed
        free(allocation, on, freed)
    return selectors.open_amount(charge)


@verb(permission="fees.add_receipt", title="Write to them about their account")
def send_statement(*, household: Household, on: date, by: User) -> Message:
    """Write to the household's guardian what it owes and where it sees the whole statement.

    The same day again only where its account has changed since.
    """
    return write(letters.drafted(accounts.statement(household, on), on, book(), paid_into()))


@verb(permission=NOBODY, title="Send a family a new link")
def send_new_link(*, email: str, key: uuid.UUID) -> list[Message]:
    """Write to each guardian of this e-mail address with a link to their family's page; mostly there is one, or none.

    For an address that is nobody's a letter is written and undone, so that nobody tells by the time it takes. The
    same key again writes nothing.
    """
    guardians = Guardian.objects.filter(email__iexact=email).select_related("household").order_by("pk")
    written = [write(letters.new_link(each, key)) for each in guardians]
    if not written:
        with transaction.atomic():
            write_message(about=f"link {key}", to=email, subject="", body="")
            transaction.set_rollback(True)
    return written


@verb(permission="fees.add_receipt", title="Write to all who owe")
def send_statements(*, on: date, by: User) -> list[Message]:
    """Write to every household that owes anything and has no letter of today that says the same; returns those."""
    return [write(letter) for letter in statements_to_send(on)]


def statements_to_send(on: date) -> list[Message]:
    """The letters that writing to all who owe would write."""
    of, account = book(), paid_into()
    statements = accounts.statements(accounts.who_owes(), on)
    says = wording(letters.STATEMENT)
    return unwritten([letters.drafted(each, on, of, account, says) for each in statements])
