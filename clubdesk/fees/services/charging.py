"""Charging, what becomes income, receiving, and which receipt pays which charge."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Max
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import posting, selectors
from clubdesk.fees.models import (
    PAID_BY,
    Allocation,
    Charge,
    ChargeShare,
    FeePrice,
    Method,
    Receipt,
    Repayment,
    TiedCredit,
    Voucher,
)
from clubdesk.ledger import services as ledger
from clubdesk.ledger.selectors import is_taxed
from clubdesk.money import as_amount, cash_rounded, nil, positive, shown
from clubdesk.roll.models import Household, Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.rooms import Done
from clubdesk.verbs import part, verb


def queue(household: Household, person: Person | None = None) -> Household:
    """One change at a time to a household's account; where it pays for a `person` of another family, to both.

    Raises Refused where it was merged into another since it was read.
    """
    if person and person.household_id != household.pk:
        queue_all((household.pk, person.household_id))
    rows = Household.everyone.select_for_update(of=("self",), no_key=True).select_related("party")
    found = rows.get(pk=household.pk)
    if found.merged_into:
        raise Refused(f"{found} was merged into {found.now} meanwhile; open the page again.")
    return found


def queue_all(households: Iterable[int]) -> None:
    """The same for several households, by their ids, in their order."""
    families = Household.objects.select_for_update(of=("self",), no_key=True).order_by("pk")
    list(families.filter(pk__in=list(households)))


def lock_charges(charges: Iterable[Charge], also: Iterable[int] = ()) -> dict[int, Charge]:
    """Take the households, the charges and their vouchers in their order, before the first post takes the book.

    `also` names further households, by their ids. Returns the charges by id as they stand now.
    """
    wanted = [each.pk for each in charges]
    queue_all({*selectors.families_of(wanted), *also})
    rows = Charge.objects.select_for_update(of=("self",), no_key=True).order_by("pk")
    rows = rows.select_related("price__item__income_account", "household__party", "person")
    found = {each.pk: each for each in rows.filter(pk__in=wanted)}
    vouchers = Voucher.objects.select_for_update(of=("self",), no_key=True).order_by("pk")
    list(vouchers.filter(selectors.STANDING_VOUCHER, charge__in=wanted))
    return found


@verb(permission="fees.add_charge", title="Charge a fee")
def charge(
    *,
    household: Household,
    price: FeePrice,
    on: date,
    starts_on: date,
    by: User,
    person: Person | None = None,
    description: str = "",
    amount: Money | None = None,
    shares: Sequence[Money] | None = None,
    key: uuid.UUID | None = None,
) -> Charge:
    """The household owes `price`. While `starts_on` lies after `on` the income waits in Fees in advance.

    `amount` and `shares` say what it comes to and what of it others get, in the order of the price's shares, where
    that is not the whole price. Whatever credit the household has pays it at once.
    """
    household = queue(household)
    if found := ledger.written(Charge, key):
        return found
    if person:
        refuse_erased(person)
    named = zip(selectors.shares_of_price(price), shares, strict=True) if shares is not None else ()
    parts = [(share, part) for share, part in named] if shares is not None else whole_shares(price)
    document = write_charge(
        household, person, price, amount or price.amount, parts, description, on, starts_on, by, key
    )
    settle(household=household, on=on)
    return document


def whole_shares(price: FeePrice) -> list[tuple[posting.Share, Money]]:
    return [(share, share.amount) for share in selectors.shares_of_price(price)]


def write_charge(
    household: Household,
    person: Person | None,
    price: FeePrice,
    amount: Money,
    shares: Sequence[tuple[posting.Share, Money]],
    description: str,
    on: date,
    starts_on: date,
    by: User,
    key: uuid.UUID | None = None,
) -> Charge:
    """The charge and its entry; what pays it is for whoever calls."""
    parts = [
        ChargeShare(account=share.account, party=share.party, amount=part) for share, part in shares if part > nil()
    ]
    document = Charge.objects.create(
        key=key or uuid.uuid4(),
        household=household,
        person=person,
        price=price,
        description=(description or f"{price.item}{f', {person}' if person else ''}")[:150],
        amount=amount,
        tax=posting.tax_in(amount, parts) if is_taxed(price.item.tax_code, on) else nil(),
        charged_on=on,
        starts_on=max(starts_on, on),
        recorded_by=by,
    )
    for each in parts:
        each.charge = document
    ChargeShare.objects.bulk_create(parts)
    lines = posting.charge_lines(
        document.amount,
        household.party,
        starts_later=document.waits,
        income=price.item.income_account,
        shares=parts,
        taxed=document.is_taxed,
    )
    ledger.post(
        source=document,
        purpose="charge",
        on=on,
        narration=document.named,
        lines=lines,
        by=by,
    )
    return document


@part
def recognise(*, charge: Charge, by: User) -> Charge:
    """The thing paid for has started: its fee leaves Fees in advance and becomes income.

    Dated the day it started, or the first open day after a lock. Doing it again changes nothing.
    """
    locked = Charge.objects.select_for_update(of=("self",), no_key=True).select_related("price__item__income_account")
    document = locked.get(pk=charge.pk)
    if document.recognised_on or document.carried_on or not document.waits:
        return document
    left = document.amount - selectors.credited(document)
    if left <= nil():
        return document
    ledger.lock_book()
    on = ledger.first_open_day(document.starts_on)
    lines = posting.recognise_lines(
        left,
        income=document.income,
        shares=selectors.shares_of(document),
        taxed=document.is_taxed,
    )
    ledger.post(
        source=document,
        purpose="recognise",
        on=on,
        narration=f"Started: {document.named}",
        lines=lines,
        by=by,
    )
    document.recognised_on = on
    document.save(update_fields=["recognised_on"])
    return document


@verb(permission="ledger.close_year", title="Let what has started become income")
def recognise_due(*, on: date, by: User) -> Done:
    """Recognise every charge whose thing has started by `on`: how many, and a sentence for each that could not be."""
    due = list(selectors.charges_to_recognise(on).values_list("pk", flat=True))
    # All of them before the book, which the first post takes: a credit takes its charge first and the book after.
    rows = Charge.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=due, recognised_on=None)
    documents = list(rows.order_by("pk"))
    refused = []
    for document in sorted(documents, key=lambda each: due.index(each.pk)):
        try:
            with transaction.atomic():
                recognise(charge=document, by=by)
        except Refused as refusal:
            refused.append(f"{document}: {refusal.sentence}")
    return Done(len(documents) - len(refused), tuple(refused))


@part
def move_start(*, charge: Charge, starts_on: date, description: str = "") -> Charge:
    """The thing paid for starts on another day; its income waits until then. Raises Refused once it is income.

    Where it is for something else now, such as another cohort, `description` says for what.
    """
    document = Charge.objects.select_for_update(of=("self",), no_key=True).get(pk=charge.pk)
    if not document.waits or document.recognised_on:
        raise Refused(f"{document} is income already; it can no longer wait for another day.")
    document.starts_on = max(starts_on, document.charged_on + timedelta(days=1))
    document.description = description[:150] or document.description
    document.save(update_fields=["starts_on", "description"])
    return document


def use(
    receipt: Receipt,
    amount: Money,
    on: date,
    charge: Charge | None = None,
    repayment: Repayment | None = None,
    tied: TiedCredit | None = None,
) -> Allocation:
    """From `on` the receipt pays so much of the charge or was paid back.

    Not before both were there, and not before what it paid earlier was freed: no day has the same money twice.
    """
    day = charge.charged_on if charge else repayment.paid_on if repayment else on
    freed = receipt.allocations.aggregate(last=Max("freed_on"))["last"] or on
    used_on = max(on, receipt.received_on, day, freed)
    return Allocation.objects.create(
        receipt=receipt, charge=charge, repayment=repayment, amount=amount, used_on=used_on, tied=tied
    )


def use_for(charge: Charge, receipt: Receipt, amount: Money, on: date) -> None:
    """From `on` the receipt pays so much of the charge: first what of it a voucher has tied, then what is free."""
    for tied in selectors.ties_with_unused(receipt):
        part = min(as_amount(tied.unused), amount)
        if part > nil():
            use(receipt, part, on, charge, tied=tied)
            amount -= part
    if amount > nil():
        use(receipt, amount, on, charge)


def free(allocation: Allocation, on: date, amount: Money | None = None) -> None:
    """From `on` the allocation, or `amount` of it, pays no more; the row stays as history."""
    allocation.freed_on = max(on, allocation.used_on)
    allocation.save(update_fields=["freed_on"])
    if amount is not None and amount < allocation.amount:
        rest = allocation.amount - amount
        use(allocation.receipt, rest, allocation.freed_on, allocation.charge, allocation.repayment, allocation.tied)


def release(*, charge: Charge, amount: Money, on: date) -> list[tuple[Allocation, Money]]:
    """Free `amount` of what receipts pay towards `charge`, the latest allocation first: so much of which."""
    made_way = []
    for allocation in charge.allocations.standing().select_related("receipt", "charge").order_by("-pk"):
        if amount <= nil():
            break
        freed = min(allocation.amount, amount)
        amount -= freed
        free(allocation, on, freed)
        made_way.append((allocation, freed))
    return made_way


def settle(*, household: Household, on: date, chosen: Sequence[Charge] = ()) -> None:
    """Let the household's unused receipts pay what it owes: the chosen charges, what it was paid back beyond its
    credit, and then the oldest charges.
    """
    receipts = list(
        selectors.receipts_with_unused().filter(household=household, unused__gt=0).order_by("received_on", "pk")
    )
    if not receipts:
        return
    first = [each.pk for each in chosen]
    charges = selectors.open_charges(household)
    owed = [
        *(each for each in charges if each.pk in first),
        *selectors.paid_back_beyond().filter(household=household).order_by("paid_on", "pk"),
        *(each for each in charges if each.pk not in first),
    ]
    unused = [[receipt, receipt.unused] for receipt in receipts]
    for each in owed:
        is_fee = isinstance(each, Charge)
        left = each.open_amount
        for held in unused:
            receipt, free_of_it = held
            part = min(left, free_of_it if is_fee else selectors.payable_of(receipt))
            if part and not is_fee:
                use(receipt, as_amount(part), on, repayment=each)
            elif part:
                use_for(each, receipt, as_amount(part), on)
            left -= part
            held[1] -= part
        unused = [held for held in unused if held[1]]
        if not unused:
            return


@verb(permission="fees.add_receipt", title="Record a receipt")
def record_receipt(
    *,
    household: Household,
    amount: Money,
    method: Method,
    on: date,
    by: User,
    charges: Sequence[Charge] = (),
    reference: str = "",
    rounding: Money | None = None,
    key: uuid.UUID | None = None,
) -> Receipt:
    """Money came in from a household and settles `amount` of what it owes.

    It pays the chosen charges first, then the oldest; what is left over stays as credit. For cash, what is
    handed over is `amount` rounded to five cents, or less `rounding` where that is known.

    Raises Refused for zero or less, and for charges of another household.
    """
    household = queue(household)
    if found := ledger.written(Receipt, key):
        return found
    amount = positive(amount)
    if any(each.household_id != household.pk for each in charges):
        raise Refused("A receipt pays only for the family's own charges.")
    rounding = _rounding_of(amount, method, rounding)
    ledger.lock_book()
    last = Receipt.objects.aggregate(last=Max("number"))["last"] or 0
    document = Receipt.objects.create(
        key=key or uuid.uuid4(),
        number=last + 1,
        household=household,
        method=method,
        amount=amount,
        rounding=rounding,
        received_on=on,
        reference=reference,
        recorded_by=by,
    )
    ledger.post(
        source=document,
        purpose="receipt",
        on=on,
        narration=f"{Method(method).label}, receipt {document.number}",
        lines=posting.receipt_lines(amount, rounding, Method(method), household.party),
        by=by,
    )
    settle(household=household, on=on, chosen=charges)
    return document


def _rounding_of(amount: Money, method: Method, known: Money | None) -> Money:
    """What of a receipt is settled but not handed over: in cash, what rounds off unless it is known."""
    if method not in PAID_BY:
        raise Refused("A credit is brought in with the opening balances; say how this was paid.")
    if method != Method.CASH:
        return nil()
    rounding = amount - cash_rounded(amount) if known is None else known
    if rounding == amount:
        raise Refused(f"{shown(amount)} rounds to nothing in cash; take it by card or transfer.")
    return rounding


@verb(permission="fees.change_receipt", title="Cancel this receipt")
def cancel_receipt(*, receipt: Receipt, on: date, reason: str, by: User) -> Receipt:
    """Undo a receipt that was recorded wrongly: its entry is reversed and its charges are open again."""
    household = queue(receipt.household)
    if on < receipt.received_on:
        raise Refused(f"It was received on {day_text(receipt.received_on)}; it cannot be cancelled before.")
    document = Receipt.objects.select_for_update(of=("self",), no_key=True).get(pk=receipt.pk)
    if document.cancelled_on:
        return document
    if document.opening_id:
        raise Refused("This credit was brought in with the opening balances; it can be repaid, not cancelled.")
    if document.allocations.standing().exclude(repayment=None).exists():
        raise Refused("Part of this receipt was paid back to the family; it can no longer be cancelled.")
    for allocation in document.allocations.standing():
        free(allocation, on)
    ledger.undo_entries_of(document=document, on=on, reason="the receipt was cancelled", by=by)
    document.cancelled_on, document.cancel_reason = on, reason.strip()[:150]
    document.save(update_fields=["cancelled_on", "cancel_reason"])
    settle(household=household, on=on)
    return document
