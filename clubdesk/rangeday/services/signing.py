"""Signing on at the range, undoing and correcting it."""

import uuid
from collections.abc import Sequence
from datetime import date

from django.contrib.auth.models import User
from django.db.models import Q
from djmoney.money import Money

from clubdesk import clock, rooms
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, FeePrice, FeeShare
from clubdesk.fees.posting import tax_in
from clubdesk.ledger import services as ledger
from clubdesk.ledger.selectors import is_taxed
from clubdesk.money import cash_rounded, nil, shown, total
from clubdesk.rangeday import posting, selectors
from clubdesk.rangeday.models import PAID_AT_THE_RANGE, Gear, Paid, RangeDay, SafetyText, SignOn, Tap
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.rooms import ERASED
from clubdesk.verbs import NOBODY, part, verb

A_VISITOR = "a visitor"


def _refuse_closed(day: RangeDay) -> None:
    if day.called_off_on:
        raise Refused(f"{day} was called off: {day.called_off_reason}.")
    if day.closed_on:
        raise Refused(f"{day} is closed and counted; its sign-ons stay as they are.")


@verb(permission="rangeday.add_signon", title="Sign on")
def sign_on(
    *,
    range_day: RangeDay,
    gear: Gear,
    paid: Paid,
    by: User,
    person: Person | None = None,
    visitor_name: str = "",
    visitor_guardian: str = "",
    visitor_phone: str = "",
    safety: SafetyText | None = None,
    rounding: Money | None = None,
    due: selectors.Tariff | None = None,
    known: selectors.Schedule | None = None,
    held: RangeDay | None = None,
    corrects: SignOn | None = None,
    moved_from: SignOn | None = None,
    tap: Tap | None = None,
    key: uuid.UUID | None = None,
) -> SignOn:
    """Somebody shoots today. The fee comes from the schedule, the membership on that day and the gear.

    Cash and card post at once; "on account" charges the household, whose fee is income on the day. `rounding` is what
    of a family's one cash payment falls on this fee, else its own; `due` and `known` are what is owed and the day's
    schedule, where they are known already; `held` is the day's row, where whoever calls has taken it and
    found that nothing stands under this key and the person is not signed on.

    Raises Refused for a closed day, who is signed on already, a fee with no way of paying it, on account without a
    household, cash or card before the day, a visitor who has not agreed to the safety rules, and as rooms above ask.
    """
    day = held or RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)
    if not held and (found := ledger.written(SignOn, key)):
        return found
    _refuse_closed(day)
    if not held and person and day.sign_ons.filter(selectors.STANDS, person=person).exists():
        refuse_second(person)
    _refuse_who(day, person, visitor_name, agreed=bool(safety or corrects))
    if not corrects:
        _ask_the_rooms_above(day, person, by)
    due = due or selectors.tariff(person=person, gear=gear, range_day=day, known=known)
    _refuse_payment(day, due, paid, person)
    document = SignOn(
        key=key or uuid.uuid4(), range_day=day, person=person, tap=tap, corrects=corrects, moved_from=moved_from,
        gear=due.gear, price=due.price, amount=due.amount, paid=paid if due.amount > nil() else Paid.NOTHING,
        rounding=_rounding(due.amount, rounding) if paid == Paid.CASH else nil(), recorded_by=by,
    )  # fmt: skip
    if not person:
        _note_visitor(document, visitor_name, visitor_guardian, visitor_phone, safety)
    _save_and_post(document, day, by)
    return document


def _ask_the_rooms_above(day: RangeDay, person: Person | None, by: User) -> None:
    for room in rooms.in_order():
        for asks in room.before_signing_on:
            asks(day, person, by)


def _note_visitor(document: SignOn, name: str, guardian: str, phone: str, safety: SafetyText | None) -> None:
    document.visitor_name, document.visitor_guardian = name.strip()[:100], guardian.strip()[:100]
    document.visitor_phone, document.safety = phone.strip()[:30], safety


def _save_and_post(document: SignOn, day: RangeDay, by: User) -> None:
    """The document with the charge or the GST of its fee, and its entry where its state calls for one."""
    if document.paid == Paid.ACCOUNT:
        document.charge = _on_account(document, by)
    if not (document.price and document.entries_called_for):
        document.save()
        return
    shares = fees.shares_of_price(document.price)
    document.tax = tax_in(document.amount, shares) if is_taxed(document.price.item.tax_code, day.date) else nil()
    document.save()
    _post_sign_on(document, document.price, shares, by)


def refuse_second(person: Person) -> None:
    raise Refused(f"{person} is signed on already today.")


def _refuse_who(day: RangeDay, person: Person | None, visitor: str, *, agreed: bool) -> None:
    if person:
        refuse_erased(person)
    if not person and not visitor.strip():
        raise Refused("Pick somebody from the roll, or type the visitor's name.")
    if not person and not agreed and selectors.safety_text(day.date):
        raise Refused("Read the safety rules with the visitor first; they must agree to them.")


def _refuse_payment(day: RangeDay, due: selectors.Tariff, paid: Paid, person: Person | None) -> None:
    if due.amount > nil() and paid == Paid.NOTHING:
        raise Refused(f"{shown(due.amount)} is due; say how it was paid.")
    if paid in PAID_AT_THE_RANGE and day.date > clock.today():
        raise Refused(f"{day} is still to come: put it on account, and record what is paid as a receipt.")
    if paid == Paid.ACCOUNT and not person:
        raise Refused("A visitor without a family cannot put it on account; take cash or card.")


def _rounding(amount: Money, given: Money | None) -> Money:
    return amount - cash_rounded(amount) if given is None else given


def _on_account(document: SignOn, by: User) -> Charge:
    assert document.person is not None
    assert document.price is not None
    return charging.charge(
        household=document.person.household,
        person=document.person,
        price=document.price,
        description=f"{document.price.item}, {document.person}, {day_text(document.range_day.date)}"[:150],
        on=min(document.range_day.date, clock.today()),
        starts_on=document.range_day.date,
        by=by,
    )


def _post_sign_on(document: SignOn, price: FeePrice, shares: Sequence[FeeShare], by: User) -> None:
    ledger.post(
        source=document,
        purpose="paid at the range",
        on=document.range_day.date,
        narration=f"{document.get_gear_display()}, {document.range_day}, {document.get_paid_display().lower()}",
        lines=posting.sign_on_lines(
            document.amount,
            document.rounding,
            Paid(document.paid),
            income=price.item.income_account,
            shares=shares,
            taxed=document.tax > nil(),
        ),
        by=by,
    )


@verb(permission="rangeday.change_signon", title="Cancel this sign-on")
def cancel_sign_on(*, sign_on: SignOn, on: date, reason: str, by: User) -> SignOn:
    """Undo a sign-on recorded by mistake: its entry is reversed or its charge credited, the reason is kept.

    Kit that is out with them counts as back. Where a family paid in cash together, what the others handed over is
    rounded anew.
    """
    document = take_off(sign_on=sign_on, on=on, reason=reason, by=by)
    bring_kit_back(document)
    if document.tap_id and document.paid == Paid.CASH:
        _round_anew(document, on, by)
    return document


def bring_kit_back(taken_off: SignOn) -> None:
    """No kit stays out on a sign-on that was cancelled; whoever gives it out waits for that, or is waited for."""
    for loan in taken_off.loans.filter(back_at=None):
        loan.back_at = max(clock.now(), loan.given_at)
        loan.save(update_fields=["back_at"])


@part
def take_off(*, sign_on: SignOn, on: date, reason: str, by: User) -> SignOn:
    """The same, without a look at who paid together; for whoever takes all of them off."""
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=sign_on.range_day_id)
    if sign_on.charge:
        charging.lock_charges([sign_on.charge])
    document = _fresh(sign_on)
    if document.cancelled_on:
        return document
    if not reason.strip():
        raise Refused("Say why the sign-on is cancelled.")
    _refuse_closed(day)
    shot_on = document.range_day.date
    ledger.undo_entries_of(document=document, on=shot_on, reason="the sign-on was cancelled", by=by)
    if document.charge:
        charging.take_back(charge=document.charge, on=_day_of(document.charge), reason=reason, by=by)
    document.cancelled_on, document.cancel_reason = on, reason.strip()[:150]
    document.save(update_fields=["cancelled_on", "cancel_reason"])
    return document


def hold(which: Q) -> list[SignOn]:
    """Sign-ons locked in their order and read anew; before the first of them is taken off, since that posts."""
    rows = SignOn.objects.select_for_update(of=("self",), no_key=True).filter(which).order_by("pk")
    return list(rows.select_related("range_day", "charge", "price__item", "person__household"))


def _fresh(sign_on: SignOn) -> SignOn:
    """It as it stands now, locked with all who paid together with it."""
    which = Q(tap=sign_on.tap_id) if sign_on.tap_id else Q(pk=sign_on.pk)
    return next(row for row in hold(which) if row.pk == sign_on.pk)


def _day_of(charge: Charge) -> date:
    """Taken back on its own day: where it was charged ahead, on the day it was charged while the day is to come."""
    return max(charge.charged_on, min(charge.starts_on, clock.today()))


def _round_anew(left: SignOn, on: date, by: User) -> None:
    """Whoever still paid together in cash handed over their own total rounded: one of them is recorded again so."""
    rows = list(SignOn.objects.filter(selectors.STANDS, tap=left.tap_id, paid=Paid.CASH).order_by("pk"))
    due = total(row.amount for row in rows)
    wanted, now = due - cash_rounded(due), total(row.rounding for row in rows)
    if not rows or wanted == now:
        return
    first = _fresh(rows[0])
    rounding = wanted - (now - first.rounding)
    take_off(sign_on=first, on=on, reason="what they pay together was rounded anew", by=by)
    _again(first, selectors.Tariff(Gear(first.gear), first.price, first.amount), Paid.CASH, by, rounding)


def _again(wrong: SignOn, due: selectors.Tariff, paid: Paid, by: User, rounding: Money | None = None) -> SignOn:
    """The same person, recorded as it should have been; kit that is out stays with them."""
    right = sign_on(
        range_day=wrong.range_day,
        person=wrong.person,
        visitor_name=wrong.visitor_name,
        visitor_guardian=wrong.visitor_guardian,
        visitor_phone=wrong.visitor_phone,
        safety=wrong.safety,
        gear=due.gear,
        paid=paid,
        due=due,
        rounding=rounding,
        corrects=wrong,
        tap=wrong.tap,
        by=by,
    )
    wrong.loans.filter(back_at=None).update(sign_on=right)
    return right


@verb(permission="rangeday.change_signon", title="Correct this sign-on")
def correct_sign_on(*, wrong: SignOn, gear: Gear, paid: Paid, reason: str, on: date, by: User) -> SignOn:
    """Put a mistyped sign-on right: the wrong one is cancelled with the reason, the right one recorded; kit stays out.

    Returns the right one, at the price of the wrong one where the kind of fee is the same. Raises Refused where nothing
    changes, and as the two verbs do.
    """
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=wrong.range_day_id)
    if found := SignOn.objects.filter(corrects=wrong).first():
        return found
    if wrong.person:
        charging.queue(wrong.person.household)
    if wrong.charge:
        charging.lock_charges([wrong.charge])
    wrong = _fresh(wrong)
    if wrong.cancelled_on:
        raise Refused("This sign-on was cancelled; sign them on again.")
    due = selectors.tariff(person=wrong.person, gear=gear, range_day=day)
    if due.price and wrong.price and due.price.item_id == wrong.price.item_id:
        due = selectors.Tariff(due.gear, wrong.price, wrong.amount)
    if (wrong.gear, wrong.paid) == (due.gear, paid if due.price else Paid.NOTHING):
        raise Refused("That is what stands there already.")
    take_off(sign_on=wrong, on=on, reason=reason, by=by)
    right = _again(wrong, due, paid, by)
    if wrong.tap_id and Paid.CASH in (wrong.paid, right.paid):
        _round_anew(right, on, by)
        right = getattr(_fresh(right), "corrected_by", None) or right
    return right


@verb(permission=NOBODY, title="Forget visitors")
def forget_visitors(*, before: date) -> int:
    """Names and phones of visitors who shot before that day go, and what was asked about them; figures stay.

    Returns how many visitors were forgotten.
    """
    old = SignOn.objects.filter(range_day__date__lt=before)
    forgotten = old.exclude(visitor_name__in=("", A_VISITOR)).update(visitor_name=A_VISITOR)
    old.exclude(visitor_guardian="", visitor_phone="").update(visitor_guardian="", visitor_phone="")
    taps = Tap.objects.filter(range_day__date__lt=before)
    taps.exclude(visitor_name__in=("", A_VISITOR)).update(visitor_name=A_VISITOR, visitor_guardian="", visitor_phone="")
    taps.exclude(question__in=("", ERASED)).update(question=ERASED)
    taps.exclude(answer__in=("", ERASED)).update(answer=ERASED)
    return forgotten
