"""Sport vouchers: set against a fee, lodged with the department, and answered by it line by line."""

import re
import uuid
from collections.abc import Mapping
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import letters, posting, selectors
from clubdesk.fees.models import Charge, FeeKind, Lodgement, Voucher, VoucherScheme, VoucherState
from clubdesk.fees.services.charging import lock_charges, queue, settle
from clubdesk.fees.services.crediting import set_against, take_back
from clubdesk.fees.services.parts import lay_anew
from clubdesk.fees.states import VOUCHER
from clubdesk.ledger import services as ledger
from clubdesk.money import nil, positive, shown, total
from clubdesk.roll.models import Household, Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.verbs import verb

SIGNS = {"#": "[0-9]", "@": "[A-Z]"}


@verb(permission="fees.add_voucher", title="Accept a sport voucher")
def accept_voucher(
    *,
    scheme: VoucherScheme,
    charge: Charge,
    code: str,
    on: date,
    by: User,
    birth_date: date | None = None,
    key: uuid.UUID | None = None,
) -> Voucher:
    """Set a child's voucher against a charge: it pays at most what is left of the fee, the rest is forgone.

    Where the family has paid already, its receipt becomes credit by as much. Raises Refused for a code or a
    `birth_date` that cannot be right, a child or a fee that the scheme does not pay for, a day before the fee, and
    more vouchers than it allows a child in a calendar year. Source: a state's published programme terms (one voucher
    a child in a calendar year at one provider, ages 5 to 15; a fee below the voucher's value claims only the fee).
    """
    household = queue(charge.household, charge.person)
    if found := ledger.written(Voucher, key):
        return found
    row = Charge.objects.select_related("person", "price__item", "household__party").get(pk=charge.pk)
    code = "".join(code.split()).upper()
    if row.person is None:
        raise Refused("A voucher belongs to a child; this charge names nobody.")
    refuse_erased(row.person)
    if row.price is None:
        raise Refused("This balance was brought in; a voucher pays only a fee that was charged here.")
    if not code:
        raise Refused("Type the voucher's code.")
    if on < row.charged_on:
        raise Refused(f"{row} was charged on {day_text(row.charged_on)}; a voucher cannot pay it before.")
    _refuse_what_the_scheme_does_not_pay(scheme, row.person, row.price.item.kind, code, on, birth_date)
    left = selectors.creditable(charge)
    amount = min(selectors.value_of_voucher(scheme, on), left)
    if amount <= nil():
        raise Refused("Nothing of this fee is left for a voucher to pay.")
    document = set_against(row, scheme, row.person, code, amount, on, by, key=key)
    settle(household=household, on=on)
    lay_anew(household=household, on=on, by=by)
    return document


def _refuse_what_the_scheme_does_not_pay(
    scheme: VoucherScheme, person: Person, kind: str, code: str, on: date, birth_date: date | None
) -> None:
    if scheme.code_form and not code_fits(scheme.code_form, code):
        raise Refused(
            f"A code of {scheme} looks like {scheme.code_form} (# a digit, @ a letter); check what was typed."
        )
    if birth_date is not None and birth_date != person.birth_date:
        raise Refused(f"That is not the date of birth of {person} on the roll; check the voucher, and the roll.")
    age = person.age_on(on)
    if (scheme.youngest is not None and age < scheme.youngest) or (scheme.oldest is not None and age > scheme.oldest):
        raise Refused(f"{person} is {age}; {scheme} is for ages {scheme.youngest or 0} to {scheme.oldest or 'any'}.")
    pays = {FeeKind.MEMBERSHIP: scheme.pays_memberships, FeeKind.COURSE: scheme.pays_courses}
    if not pays.get(FeeKind(kind), scheme.pays_other):
        raise Refused(f"{scheme} does not pay a fee of this kind ({FeeKind(kind).label.lower()}).")
    standing = Voucher.objects.filter(selectors.STANDING_VOUCHER, scheme=scheme)
    used = standing.filter(person=person, calendar_year=on.year).count()
    if used >= scheme.per_year:
        times = "a voucher" if scheme.per_year == 1 else f"{used} vouchers"
        raise Refused(f"{person} has used {times} of {scheme} in {on.year} already.")
    if standing.filter(code=code).exists():
        raise Refused("This voucher code has been used already; check it with the family.")


def code_fits(form: str, code: str) -> bool:
    """Whether a code has a scheme's form: # a digit, @ a letter, all else itself."""
    return re.fullmatch("".join(SIGNS.get(sign, re.escape(sign.upper())) for sign in form), code) is not None


@verb(permission="fees.add_lodgement", title="Lodge the accepted vouchers")
def lodge_vouchers(*, scheme: VoucherScheme, on: date, by: User, key: uuid.UUID | None = None) -> Lodgement:
    """Send every accepted voucher of the scheme to the department in one batch."""
    VoucherScheme.objects.select_for_update(of=("self",), no_key=True).get(pk=scheme.pk)
    if found := ledger.written(Lodgement, key):
        return found
    waiting = Voucher.objects.filter(scheme=scheme, state__in=VOUCHER.before(VoucherState.LODGED)).order_by("pk")
    lodged = [voucher.pk for voucher in waiting.select_for_update(of=("self",), no_key=True)]
    if not lodged:
        raise Refused(f"No voucher of {scheme} waits to be lodged.")
    document = Lodgement.objects.create(key=key or uuid.uuid4(), scheme=scheme, lodged_on=on, recorded_by=by)
    Voucher.objects.filter(pk__in=lodged).update(state=VoucherState.LODGED, lodgement=document)
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
        reason = "its voucher was refused after it was taken back"
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
    without an answer stays lodged and owed; then those that were paid become a part of the lodgement, and that is
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
        scheme=lodgement.scheme, lodged_on=lodgement.lodged_on, part_of=lodgement, recorded_by=by
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


@verb(permission="fees.change_lodgement", title="Record that the department paid a lodgement")
def record_lodgement_paid(*, lodgement: Lodgement, on: date, by: User) -> Lodgement:
    """The department paid every voucher of the batch that it has not refused, in one sum into the bank."""
    if Lodgement.objects.get(pk=lodgement.pk).paid_on:
        return Lodgement.objects.get(pk=lodgement.pk)
    lodged = lodgement.vouchers.filter(state__in=VOUCHER.before(VoucherState.PAID))
    if not lodged:
        raise Refused("Every voucher of this lodgement was refused; there is nothing to be paid.")
    paid = {voucher.pk: voucher.amount for voucher in lodged}
    return answer_lodgement(lodgement=lodgement, paid=paid, refused={}, on=on, by=by)
