"""What a household gets from the bank: decided by somebody else, paid, and taken back where the bank returns it."""

from collections.abc import Sequence
from datetime import date
from typing import TypeVar

from django.contrib.auth.models import User

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees.models import PaidBack
from clubdesk.ledger import selectors
from clubdesk.ledger import services as ledger
from clubdesk.ledger.posting import Line
from clubdesk.roll.selectors import belongs_to
from clubdesk.verbs import part

Back = TypeVar("Back", bound=PaidBack)


def locked(document: Back, *related: str) -> Back:
    """The document's own row, locked and read anew."""
    rows = type(document)._default_manager.select_for_update(of=("self",), no_key=True)
    return rows.select_related("household__party", *related).get(pk=document.pk)


def locked_for_decision(document: Back, by: User, *related: str) -> Back:
    """The same for somebody who may decide: nobody decides what they recorded or what pays their own household."""
    document, noun = locked(document, *related), document._meta.verbose_name
    if document.recorded_by_id == by.pk:
        raise Refused(f"You recorded this {noun}; somebody else must decide about it.")
    if belongs_to(by, document.household, document.recorded_at):
        raise Refused(f"You belong or belonged to {document.household}; somebody else must decide about its {noun}.")
    return document


@part
def pay(document: Back, *, on: date, by: User, reference: str, narration: str, lines: Sequence[Line]) -> Back:
    """What was approved went to the household by bank transfer; `document` is locked already."""
    if document.state == "paid":
        return document
    document.states.refuse_unless(document.state, "paid", f"Only an approved {document._meta.verbose_name} is paid.")
    if document.decided_on and on < document.decided_on:
        raise Refused(f"It was approved on {day_text(document.decided_on)}; it cannot be paid before.")
    document.state, document.paid_on, document.payment_reference = "paid", on, reference.strip()
    document.save(update_fields=["state", "paid_on", "payment_reference"])
    ledger.post(source=document, purpose=document.pay_purpose, on=on, narration=narration, lines=lines, by=by)
    return document


@part
def take_payment_back(document: Back, *, on: date, by: User) -> Back:
    """The bank returned the payment: its entry is reversed and the document waits to be paid again."""
    document = locked(document)
    if document.state == "approved" and document.times_returned:
        return document
    if document.state != "paid" or document.paid_on is None:
        raise Refused(f"This {document._meta.verbose_name} was not paid; nothing can come back.")
    if on < document.paid_on:
        raise Refused(f"It was paid on {day_text(document.paid_on)}; it cannot have come back before.")
    entry = selectors.entries_of(document).get(purpose=document.pay_purpose)
    ledger.reverse(entry=entry, on=on, reason="returned by the bank", by=by)
    document.state, document.paid_on, document.times_returned = "approved", None, document.times_returned + 1
    document.save(update_fields=["state", "paid_on", "times_returned"])
    return document
