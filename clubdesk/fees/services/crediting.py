"""Fees taken back: credits, what becomes of a voucher that paid one, and a fee charged again for a later start."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import posting, selectors
from clubdesk.fees.models import (
    Charge,
    ChargeCredit,
    TiedCredit,
    Voucher,
    VoucherScheme,
    VoucherState,
    VoucherWindow,
)
from clubdesk.fees.services.charging import queue, release, settle, write_charge
from clubdesk.fees.services.parts import lay_anew
from clubdesk.fees.services.tied import tie, tie_again, tied_by, untie
from clubdesk.fees.states import VOUCHER
from clubdesk.ledger import services as ledger
from clubdesk.money import as_amount, nil, positive, shown
from clubdesk.roll.models import Household
from clubdesk.verbs import part, verb


@verb(permission="fees.add_chargecredit", title="Credit this charge")
def credit_charge(
    *,
    charge: Charge,
    on: date,
    reason: str,
    by: User,
    amount: Money | None = None,
    key: uuid.UUID | None = None,
) -> ChargeCredit:
    """Take back `amount` of a charge (all that is left of it by default).

    What a receipt had paid of it becomes the household's credit. Raises Refused for more than is left after
    vouchers, or without a reason.
    """
    household = queue(charge.household)
    if found := ledger.written(ChargeCredit, key):
        return found
    document = _credit(charge, household, amount, on, reason, by, key)
    settle(household=household, on=on)
    lay_anew(household=household, on=on, by=by)
    return document


def _credit(
    charge: Charge,
    household: Household,
    amount: Money | None,
    on: date,
    reason: str,
    by: User,
    key: uuid.UUID | None = None,
) -> ChargeCredit:
    Charge.objects.select_for_update(of=("self",), no_key=True).get(pk=charge.pk)
    row = selectors.charges_with_open().select_related("price__item__income_account").get(pk=charge.pk)
    left = as_amount(row.creditable)
    amount = positive(amount if amount is not None else left, "The credit")
    if amount > left:
        raise Refused(f"Only {shown(left)} of this charge can be credited; the rest is credited or paid by voucher.")
    if not reason.strip():
        raise Refused("Say why the fee is credited.")
    if on < row.charged_on:
        raise Refused(f"It was charged on {day_text(row.charged_on)}; it cannot be credited before.")
    release(charge=row, amount=amount - as_amount(row.open_amount), on=on)
    in_advance = row.waits and row.recognised_on is None
    left_before, shares = as_amount(row.amount.amount - row.credited), selectors.shares_of(row)
    document = ChargeCredit.objects.create(
        key=key or uuid.uuid4(),
        charge=row,
        amount=amount,
        tax=posting.tax_credited(amount, left_before, shares) if row.is_taxed else nil(),
        credited_on=on,
        reason=reason.strip()[:150],
        from_advance=in_advance,
        recorded_by=by,
    )
    lines = posting.credit_lines(
        amount,
        household.party,
        left_before=left_before,
        still_in_advance=in_advance,
        income=row.income,
        shares=shares,
        taxed=row.is_taxed,
    )
    ledger.post(
        source=document,
        purpose="credit",
        on=on,
        narration=f"Credit: {row.named}",
        lines=lines,
        by=by,
    )
    return document


@part
def take_back(
    *, charge: Charge, on: date, reason: str, by: User, keep: Money | None = None, instead: Sequence[Charge] = ()
) -> selectors.TakenBack:
    """From now on no more than `keep` of this charge is owed (nothing by default): the rest is credited.

    A voucher that is not lodged yet pays at most what is kept, and is free again for the rest. What was lodged or
    paid cannot be credited; where it is refused later, that part is credited then. A charge taken back before
    keeps no more than it did then. What had paid it pays the charges `instead` first.
    """
    household = queue(charge.household, charge.person)
    document = Charge.objects.select_for_update(of=("self",), no_key=True).get(pk=charge.pk)
    on = max(on, document.charged_on)
    plan = selectors.if_taken_back(document, keep or nil())
    kept = min(keep or nil(), document.kept if document.taken_back_on else document.amount)
    if document.taken_back_on is None or kept < document.kept:
        document.taken_back_on, document.kept = document.taken_back_on or on, kept
        document.save(update_fields=["taken_back_on", "kept"])
    freed = _release_all(document, on, reason, by) if plan.voucher_freed > nil() else []
    if plan.credited > nil():
        _credit(document, household, plan.credited, on, reason, by)
    _set_again(freed, document, plan.by_voucher, on, by)
    settle(household=household, on=on, chosen=instead)
    lay_anew(household=household, on=on, by=by)
    return plan


@part
def charge_again(*, charge: Charge, starts_on: date, description: str, on: date, reason: str, by: User) -> Charge:
    """A fee that is income already waits once more, for what starts on `starts_on`: it is credited and charged again.

    What has paid it pays the new charge, and what was credited or written off of it stays so. Raises Refused where
    the department has been asked for a voucher that pays it.
    """
    household = queue(charge.household, charge.person)
    document = Charge.objects.select_for_update(of=("self",), no_key=True).select_related("price").get(pk=charge.pk)
    assert document.price is not None
    if document.vouchers.filter(state__in=(VoucherState.LODGED, VoucherState.PAID)).exists():
        raise Refused(
            f"The fee of {document.person or household} is income already, and the department was asked for the "
            "voucher that pays it, so it cannot wait for a later start. Ask the treasurer."
        )
    freed = _release_all(document, on, reason, by)
    left = selectors.creditable(document)
    document.taken_back_on, document.kept = on, nil()
    document.save(update_fields=["taken_back_on", "kept"])
    if left > nil():
        _credit(document, household, left, on, reason, by)
    standing = selectors.shares_of(document)
    stays = posting.shares_left(document.amount - selectors.credited(document), standing)
    shares = [(share, share.amount - part) for share, part in zip(standing, stays, strict=True)]
    again = write_charge(
        household, document.person, document.price, document.amount, shares, description, on, starts_on, by
    )
    if left < again.amount:
        _credit(again, household, again.amount - left, on, "credited or written off before", by)
    _set_again(freed, again, left, on, by)
    settle(household=household, on=on, chosen=[again])
    return again


@verb(permission="fees.add_voucher", title="Do not claim this voucher")
def release_voucher(*, voucher: Voucher, on: date, reason: str, by: User) -> Voucher:
    """The club does not claim a voucher that it has accepted: the family owes that part again, the child may use it.

    For a code set against the wrong fee or child. Raises Refused once it is lodged, or without a reason.
    """
    household = queue(voucher.charge.household)
    document = _release(voucher, household, on, reason, by)
    settle(household=household, on=on)
    return document


def _release(voucher: Voucher, household: Household, on: date, reason: str, by: User) -> Voucher:
    rows = Voucher.objects.select_for_update(of=("self",), no_key=True)
    document = rows.select_related("scheme__department", "person").get(pk=voucher.pk)
    if document.state == VoucherState.RELEASED:
        return document
    answered = f"This voucher is {document.get_state_display().lower()}; only the department's answer ends it."
    VOUCHER.refuse_unless(document.state, VoucherState.RELEASED, answered)
    if not reason.strip():
        raise Refused("Say why the voucher is not claimed.")
    document.state, document.end_reason = VoucherState.RELEASED, reason.strip()[:150]
    document.ended_on = max(on, document.accepted_on)
    document.save(update_fields=["state", "ended_on", "end_reason"])
    untie(document, document.ended_on)
    ledger.post(
        source=document,
        purpose="release",
        on=max(on, document.accepted_on),
        narration=f"Voucher {document.masked_code} not claimed",
        lines=posting.voucher_refused_lines(document.amount, document.scheme.department, household.party),
        by=by,
    )
    return document


def _release_all(charge: Charge, on: date, reason: str, by: User) -> list[tuple[Voucher, list[TiedCredit]]]:
    """The vouchers that are released, each with what it had tied."""
    waiting = charge.vouchers.filter(state__in=VOUCHER.before(VoucherState.RELEASED)).order_by("pk")
    rows = [(each, tied_by(each)) for each in waiting.select_for_update(of=("self",), no_key=True)]
    return [(_release(voucher, charge.household, on, reason, by), tied) for voucher, tied in rows]


def _set_again(
    vouchers: Sequence[tuple[Voucher, list[TiedCredit]]], charge: Charge, amount: Money, on: date, by: User
) -> None:
    """Let the vouchers pay `amount` of the charge, each at most what it paid before; one that has lapsed no more."""
    for voucher, tied in vouchers:
        part = min(voucher.amount, amount)
        if part <= nil():
            return
        if holds_on(voucher, on):
            again = set_against(charge, voucher.scheme, taken_of(voucher), part, on, by)
            tie_again(again, tied, on)
            amount -= part


@dataclass(frozen=True)
class Taken:
    """A voucher as the club takes it: its code or the child's number, its scheme's year and window, and its days."""

    code: str
    calendar_year: int
    window: VoucherWindow | None = None
    issued_on: date | None = None
    lapses_on: date | None = None
    claim_by: date | None = None


def taken_of(voucher: Voucher) -> Taken:
    """The same of one that was taken before."""
    return Taken(**{field.name: getattr(voucher, field.name) for field in fields(Taken)})


def holds_on(voucher: Voucher, on: date) -> bool:
    """Whether it has not lapsed by then."""
    return voucher.lapses_on is None or on <= voucher.lapses_on


def set_against(
    charge: Charge,
    scheme: VoucherScheme,
    taken: Taken,
    amount: Money,
    on: date,
    by: User,
    *,
    key: uuid.UUID | None = None,
) -> Voucher:
    """A child's voucher pays `amount` of its charge; receipts make way for it."""
    assert charge.person is not None
    made_way = release(charge=charge, amount=amount - selectors.open_amount(charge), on=on)
    document = Voucher.objects.create(
        key=key or uuid.uuid4(),
        scheme=scheme,
        person=charge.person,
        charge=charge,
        of_child=scheme.of_child,
        amount=amount,
        accepted_on=on,
        recorded_by=by,
        **{field.name: getattr(taken, field.name) for field in fields(Taken)},
    )
    tie(document, made_way, on)
    ledger.post(
        source=document,
        purpose="accept",
        on=on,
        narration=f"Voucher {document.masked_code} for {charge.named}",
        lines=posting.voucher_accepted_lines(amount, scheme.department, charge.household.party),
        by=by,
    )
    return document
