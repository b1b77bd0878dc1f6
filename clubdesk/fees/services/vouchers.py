"""Sport vouchers claimed of the department, and answered by it line by line."""

import uuid
from collections.abc import Mapping
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import deadlines, letters, posting, selectors
from clubdesk.fees.models import Lodgement, Voucher, VoucherScheme, VoucherState
from clubdesk.fees.services.charging import lock_charges, settle
from clubdesk.fees.services.claiming import write_claim_file
from clubdesk.fees.services.crediting import take_back
from clubdesk.fees.services.tied import untie
from clubdesk.fees.states import VOUCHER
from clubdesk.ledger import services as ledger
from clubdesk.money import nil, positive, shown, total
from clubdesk.roll.models import Household
from clubdesk.verbs import verb


@verb(permission="fees.add_lodgement", title="Claim the accepted vouchers")
def lodge_vouchers(*, scheme: VoucherScheme, on: date, by: User, key: uuid.UUID | None = None) -> Lodgement:
    """Send every accepted voucher of the scheme to the department in one batch, but those that it takes no longer.

    Where the columns of its template are laid out, the file by them is made and kept.
    """
    VoucherScheme.objects.select_for_update(of=("self",), no_key=True).get(pk=scheme.pk)
    if found := ledger.written(Lodgement, key):
        return found
    waiting = Voucher.objects.filter(scheme=scheme, state__in=VOUCHER.before(VoucherState.LODGED)).order_by("pk")
    late = deadlines.too_late(on).filter(scheme=scheme)
    lodged = [voucher.pk for voucher in waiting.exclude(pk__in=late).select_for_update(of=("self",), no_key=True)]
    if not lodged and (last := late.first()):
        raise Refused(
            f"{last} had to be claimed by {day_text(last.claim_by or on)}, and no other voucher of {scheme} waits; say "
            "on its page that it is not claimed."
        )
    if not lodged:
        raise Refused(f"No voucher of {scheme} waits to be claimed.")
    document = Lodgement.objects.create(key=key or uuid.uuid4(), scheme=scheme, lodged_on=on, recorded_by=by)
    Voucher.objects.filter(pk__in=lodged).update(state=VoucherState.LODGED, lodgement=document)
    if scheme.claim_columns.filter(in_claim=True).exists():
        write_claim_file(lodgement=document, on=on, by=by)
    return document


@verb(permission="fees.add_lodgement", title="Write the department’s reference")
def note_reference(*, lodgement: Lodgement, reference: str, by: User) -> Lodgement:
    """The department has given a claim its reference, by which its payment is known on a bank statement.

    Raises Refused for a reference that another unpaid claim has, since its payment could be either's.
    """
    document = Lodgement.objects.select_for_update(of=("self",), no_key=True).get(pk=lodgement.pk)
    typed = " ".join(reference.split())
    others = Lodgement.objects.filter(paid_on=None, reference__iexact=typed).exclude(pk=document.pk)
    if typed and (other := others.exclude(part_of=document).first()):
        raise Refused(f"{other} has this reference and is not paid yet; check what the department wrote.")
    document.reference = typed[:40]
    document.save(update_fields=["reference"])
    return document


@verb(permission="fees.add_lodgement", title="Remove it from the claim")
def unlodge_voucher(*, voucher: Voucher, by: User) -> Voucher:
    """A voucher was put into a claim and not sent with it after all: it is accepted again, and waits for the next.

    Raises Refused once the department has answered anything of that claim, since it was sent then.
    """
    if voucher.lodgement_id is None:
        return _not_lodged(Voucher.objects.get(pk=voucher.pk))
    claim = Lodgement.objects.select_for_update(of=("self",), no_key=True).get(pk=voucher.lodgement_id)
    document = Voucher.objects.select_for_update(of=("self",), no_key=True).get(pk=voucher.pk)
    if document.state != VoucherState.LODGED or document.lodgement_id != claim.pk:
        return _not_lodged(document)
    if selectors.has_an_answer(claim):
        raise Refused(f"The department has answered {claim}, so it was sent; only its answer ends this voucher.")
    document.state, document.lodgement = VoucherState.ACCEPTED, None
    document.save(update_fields=["state", "lodgement"])
    return document


def _not_lodged(voucher: Voucher) -> Voucher:
    """One that waits already stays as it is; whatever was answered stays too."""
    if voucher.state != VoucherState.ACCEPTED:
        raise Refused(f"This voucher is {voucher.get_state_display().lower()}; it is in no claim that waits.")
    return voucher


@verb(permission="fees.change_voucher", title="The department refused this voucher")
def refuse_voucher(*, voucher: Voucher, on: date, reason: str, by: User) -> Voucher:
    """The department refused a voucher: the family owes that part of the fee again, and is told."""
    lock_charges([voucher.charge])
    document = _locked(voucher)
    if document.state == VoucherState.REFUSED:
        return document
    ended = f"This voucher is {document.get_state_display().lower()}; the department cannot refuse it."
    VOUCHER.refuse_unless(document.state, VoucherState.REFUSED, ended)
    if not reason.strip():
        raise Refused("Write down the department's reason.")
    household = document.charge.household
    document.state, document.ended_on, document.end_reason = VoucherState.REFUSED, on, reason.strip()[:150]
    document.save(update_fields=["state", "ended_on", "end_reason"])
    untie(document, on)
    ledger.post(
        source=document,
        purpose="refuse",
        on=on,
        narration=f"Voucher {document.masked_code} refused",
        lines=posting.voucher_refused_lines(document.amount, document.scheme.department, household.party),
        by=by,
    )
    said = f"was refused by {document.scheme.department}: {document.end_reason}"
    _owed_again(document, household, said, document.amount, on, by)
    return document


def _locked(voucher: Voucher) -> Voucher:
    rows = Voucher.objects.select_for_update(of=("self",), no_key=True)
    return rows.select_related("scheme__department", "person", "charge__household__party").get(pk=voucher.pk)


def _owed_again(voucher: Voucher, household: Household, said: str, amount: Money, on: date, by: User) -> None:
    """The family owes `amount` again, unless the fee was taken back, and is told so."""
    credited = nil()
    if voucher.charge.taken_back_on:
        reason = "its voucher was refused after it was credited"
        credited = take_back(charge=voucher.charge, on=on, reason=reason, by=by, keep=voucher.charge.kept).credited
    settle(household=household, on=on)
    letters.tell_voucher(voucher, said, amount, min(credited, amount))


@verb(permission="fees.change_lodgement", title="The department has answered")
def answer_lodgement(
    *,
    lodgement: Lodgement,
    paid: Mapping[int, Money],
    refused: Mapping[int, str],
    on: date,
    by: User,
) -> Lodgement:
    """The department's answer: what it paid of each voucher, by the voucher's id, or why it refused it.

    What it paid comes in one sum into the bank. What it paid short the family owes again, and is told. A voucher
    without an answer stays claimed and owed; then those that were paid become a part of the lodgement, and that is
    returned.
    Raises Refused for a voucher with two answers, for no answer at all, and for more than was claimed.
    """
    rows = Lodgement.objects.select_for_update(of=("self",), no_key=True).select_related("scheme__department")
    document = rows.get(pk=lodgement.pk)
    if document.paid_on:
        return document
    if not paid and not refused:
        raise Refused("Say of at least one voucher what was paid, or why it was refused.")
    lodged = _locked_batch(document)
    for pk, voucher in lodged.items():
        if pk in paid and pk in refused:
            raise Refused(f"Say of the voucher of {voucher.person} either what was paid or why it was refused.")
        if pk in paid and not nil() < paid[pk] <= voucher.amount:
            raise Refused(f"{shown(voucher.amount)} was claimed for {voucher.person}; no more can be paid, nor zero.")
    for pk, reason in sorted(refused.items()):
        if pk in lodged:
            refuse_voucher(voucher=lodged[pk], on=on, reason=reason, by=by)
    settled = {pk: paid[pk] for pk in sorted(paid) if pk in lodged}
    if not settled:
        return document.parts.filter(vouchers__in=list(paid)).first() or document
    if lodged.keys() - settled.keys() - refused.keys():
        document = _part_of(document, list(settled), by)
    return _pay_batch(document, {lodged[pk]: amount for pk, amount in settled.items()}, on, by)


def _part_of(lodgement: Lodgement, vouchers: list[int], by: User) -> Lodgement:
    """A lodgement of its own for some of the vouchers, since the others are still owed under the old number."""
    part = Lodgement.objects.create(
        scheme=lodgement.scheme,
        lodged_on=lodgement.lodged_on,
        part_of=lodgement,
        reference=lodgement.reference,
        recorded_by=by,
    )
    Voucher.objects.filter(pk__in=vouchers).update(lodgement=part)
    return part


def _pay_batch(lodgement: Lodgement, paid: Mapping[Voucher, Money], on: date, by: User) -> Lodgement:
    for voucher, amount in paid.items():
        _pay(voucher, amount, on, by)
    lodgement.paid_on = on
    lodgement.save(update_fields=["paid_on"])
    department = lodgement.scheme.department
    ledger.post(
        source=lodgement,
        purpose="paid",
        on=on,
        narration=f"{department} paid {lodgement}",
        lines=posting.lodgement_paid_lines(total(paid.values()), department),
        by=by,
    )
    return lodgement


def _locked_batch(lodgement: Lodgement) -> dict[int, Voucher]:
    """The batch's vouchers without an answer; locked with their households and charges before the book is."""
    lodged = lodgement.vouchers.filter(state__in=VOUCHER.before(VoucherState.PAID))
    lodged = lodged.select_related("person", "charge").order_by("pk")
    lock_charges(each.charge for each in lodged)
    return {each.pk: each for each in lodged.all()}


def _pay(voucher: Voucher, amount: Money, on: date, by: User) -> None:
    """A voucher of the batch is paid, in full or short."""
    document = _locked(voucher)
    short = document.amount - positive(amount)
    household = document.charge.household
    document.state, document.amount, document.short_by = VoucherState.PAID, amount, short
    document.save(update_fields=["state", "amount", "short_by"])
    if short == nil():
        return
    untie(document, on)
    ledger.post(
        source=document,
        purpose="short",
        on=on,
        narration=f"Voucher {document.masked_code} paid short by {shown(short)}",
        lines=posting.voucher_short_lines(short, document.scheme.department, household.party),
        by=by,
    )
    said = f"was paid by {document.scheme.department} at {shown(amount)}, {shown(short)} less than its fee"
    _owed_again(document, household, said, short, on, by)


@verb(permission="fees.change_lodgement", title="Record that the department paid a voucher claim")
def record_lodgement_paid(*, lodgement: Lodgement, on: date, by: User) -> Lodgement:
    """The department paid every voucher of the batch that it has not refused, in one sum into the bank."""
    if Lodgement.objects.get(pk=lodgement.pk).paid_on:
        return Lodgement.objects.get(pk=lodgement.pk)
    lodged = lodgement.vouchers.filter(state__in=VOUCHER.before(VoucherState.PAID))
    if not lodged:
        raise Refused("Every voucher of this claim was refused; there is nothing to be paid.")
    paid = {voucher.pk: voucher.amount for voucher in lodged}
    return answer_lodgement(lodgement=lodgement, paid=paid, refused={}, on=on, by=by)
