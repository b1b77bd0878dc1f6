"""What was charged for is called off by the club: nothing of it is income, and its vouchers go with the child."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import counting, posting, selectors
from clubdesk.fees.models import Charge, FeePrice, Voucher, VoucherState
from clubdesk.fees.services.charging import charge as charge_fee
from clubdesk.fees.services.charging import lock_charges, queue, release, settle, write_charge
from clubdesk.fees.services.crediting import credit_charge, holds_on, set_against, take_back, taken_of
from clubdesk.fees.services.tied import tie
from clubdesk.ledger import services as ledger
from clubdesk.money import as_amount, nil, total
from clubdesk.roll.models import Household, Person
from clubdesk.verbs import part


@part
def call_off(*, charge: Charge, on: date, reason: str, by: User) -> selectors.TakenBack:
    """Take the whole charge back, also what was kept of it before.

    What the department was asked for by voucher cannot be credited: it waits for the child's next fee, in Fees in
    advance, and is never income of what did not take place (common practice, no source).
    """
    household = queue(charge.household, charge.person)
    taken = take_back(charge=charge, on=on, reason=reason, by=by)
    document = Charge.objects.select_for_update(of=("self",), no_key=True).select_related("price").get(pk=charge.pk)
    if taken.claimed <= nil() or document.carried_on:
        return taken
    day = max(on, document.charged_on)
    if document.waits and document.recognised_on is None:
        document.carried_on = day
        document.save(update_fields=["carried_on"])
        return taken
    _hand_over(document, _holder(document, household, taken.claimed, day, by), day, reason, by)
    return taken


def _holder(before: Charge, household: Household, amount: Money, day: date, by: User) -> Charge:
    """A charge that is nothing but what vouchers paid and what waits for the child's next fee."""
    assert before.price is not None, "a voucher pays only a fee that was charged here"
    holder = write_charge(
        household, before.person, before.price, amount, [], before.description, day, day + timedelta(days=1), by
    )
    holder.taken_back_on = holder.carried_on = day
    holder.save(update_fields=["taken_back_on", "carried_on"])
    return holder


@part
def carry_along(*, carried: Sequence[Charge], household: Household, on: date, by: User) -> list[Voucher]:
    """The child of these fees belongs to `household` now: what their vouchers paid waits there for its next fee.

    Nobody owes anything by it: one entry moves what the department pays from the account of the one family to that of
    the other. A credit that a voucher made stays with who had paid. One that came along before stays where it is.
    Returns those that went along.
    """
    along: list[Voucher] = []
    for before in carried:
        standing = before.vouchers.filter(selectors.STANDING_VOUCHER)
        if standing.filter(came_on=None).exists() and not standing.exclude(came_on=None).exists():
            day = max(on, before.carried_on or on)
            amount = as_amount(selectors.kept_by_vouchers(before))
            holder = _holder(before, household, amount, day, by)
            _hand_over(before, holder, day, "its voucher goes along with the child", by)
            along += holder.vouchers.filter(selectors.STANDING_VOUCHER).order_by("pk")
    return along


def lock_carried(household: Household, people: Sequence[Person]) -> list[Charge]:
    """The fees whose vouchers wait for the next of these children; locked before the first post takes the book."""
    found = list(selectors.carried_for(household, people).select_related("price__item"))
    if found:
        lock_charges(found)
    return found


@part
def charge_next(
    *,
    carried: Sequence[Charge],
    household: Household,
    person: Person,
    price: FeePrice,
    description: str,
    on: date,
    starts_on: date,
    by: User,
) -> Charge:
    """Charge a fee, paid first by the child's vouchers that wait since what they paid was called off.

    One whose scheme does not pay such a fee waits on. Where they come to more than the price, the fee is as much as
    they are: the department was asked for it.
    """
    same = _for_next(carried, person, price, on)
    claimed = total(as_amount(selectors.kept_by_vouchers(each)) for each in same)
    document = charge_fee(
        household=household,
        person=person,
        price=price,
        amount=max(price.amount, claimed),
        description=description,
        on=on,
        starts_on=starts_on,
        by=by,
    )
    for each in same:
        _hand_over(each, document, on, f"its voucher pays {description}", by)
    return document


@part
def charge_instead(
    *,
    charge: Charge,
    person: Person,
    price: FeePrice,
    description: str,
    on: date,
    starts_on: date,
    reason: str,
    by: User,
    household: Household | None = None,
) -> Charge:
    """Another of the family is charged in the place of the one that `charge` was for, which is taken back whole.

    What had paid it pays the new charge, and what was credited or written off of it stays so. Where another `household`
    is charged, what had paid it is the credit of the first. Raises Refused while a voucher pays it, since that is its
    child's own.
    """
    carried = list(selectors.carried_for(household or charge.household, [person]).select_related("price__item"))
    pays = household or charge.household
    before = lock_charges([charge, *carried], also=[person.household_id, pays.pk])[charge.pk]
    _refuse_vouchers_of(before)
    less = before.amount - selectors.creditable(before)
    document = charge_next(
        carried=carried,
        household=pays,
        person=person,
        price=price,
        description=description,
        on=on,
        starts_on=starts_on,
        by=by,
    )
    if (off := min(less, selectors.creditable(document))) > nil():
        credit_charge(charge=document, amount=off, on=on, reason="credited or written off before", by=by)
    take_back(charge=before, on=on, reason=reason, by=by, instead=[document] if pays.pk == before.household_id else ())
    return document


def _refuse_vouchers_of(charge: Charge) -> None:
    voucher = charge.vouchers.filter(selectors.STANDING_VOUCHER).order_by("pk").first()
    if voucher is None:
        return
    first = {
        VoucherState.ACCEPTED: "Press “Do not claim this voucher” on its page first",
        VoucherState.LODGED: "Remove it from the claim first, or withdraw the place instead",
    }.get(VoucherState(voucher.state), "Withdraw the place instead")
    raise Refused(f"A voucher of {voucher.person} ({voucher.get_state_display().lower()}) pays this fee. {first}.")


@part
def set_again(*, before: Charge, after: Charge, reason: str, on: date, by: User) -> None:
    """Vouchers that were not claimed for `before`, for a reason that begins so, pay `after` where they still can."""
    for voucher in before.vouchers.filter(state=VoucherState.RELEASED, end_reason__startswith=reason).order_by("pk"):
        amount = min(voucher.amount, selectors.creditable(after))
        if amount > nil() and holds_on(voucher, on) and not counting.used_up(voucher, after):
            set_against(after, voucher.scheme, taken_of(voucher), amount, on, by)
    settle(household=after.household, on=on)


def _for_next(carried: Sequence[Charge], person: Person, price: FeePrice, on: date) -> list[Charge]:
    """Of what waits for the child that whose vouchers pay such a fee by the rules of their schemes."""
    found, taken = [], set[int]()
    for each in carried:
        if each.person_id != person.pk or not _is_alike(each, price):
            continue
        standing = each.vouchers.filter(selectors.STANDING_VOUCHER).select_related("scheme")
        schemes = {voucher.scheme for voucher in standing}
        once = {scheme.pk for scheme in schemes if scheme.one_a_fee}
        if once & taken or any(counting.why_not_for(scheme, price.item, on, on) for scheme in schemes):
            continue
        taken |= once
        found.append(each)
    return found


def _is_alike(carried: Charge, price: FeePrice) -> bool:
    return carried.price is not None and carried.price.item.income_account_id == price.item.income_account_id


def _hand_over(before: Charge, after: Charge, on: date, reason: str, by: User) -> None:
    """The vouchers of one charge pay another; the first is credited of what they paid, and receipts make way."""
    rows = Voucher.objects.select_for_update(of=("self",), no_key=True).filter(selectors.STANDING_VOUCHER)
    for voucher in rows.filter(charge=before).order_by("pk"):
        made_way = release(charge=after, amount=voucher.amount - selectors.open_amount(after), on=on)
        tie(voucher, made_way, on)
        voucher.first_charge_id = voucher.first_charge_id or before.pk
        voucher.charge = after
        if moved := before.household_id != after.household_id:
            voucher.came_from, voucher.came_on, voucher.came_with = before.household, on, voucher.amount
        voucher.save(update_fields=["charge", "first_charge", "came_from", "came_on", "came_with"])
        if moved:
            ledger.post(
                source=voucher,
                purpose="moved",
                on=on,
                narration=f"Voucher {voucher.masked_code} goes along with its child",
                lines=posting.voucher_moved_lines(voucher.amount, before.household.party, after.household.party),
                by=by,
            )
    take_back(charge=before, on=on, reason=reason, by=by)
