"""A day called off for weather: nothing is charged, what was prepaid moves or stays the household's credit."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.db.models import Q

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, Method
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance, last_day_posted
from clubdesk.money import total
from clubdesk.rangeday import selectors
from clubdesk.rangeday.models import PAID_AT_THE_RANGE, Gear, Paid, RangeDay, SignOn
from clubdesk.rangeday.services.signing import bring_kit_back, hold, sign_on, take_off
from clubdesk.verbs import verb


@dataclass(frozen=True)
class CalledOff:
    """A day that was called off: who moved to another day, and whose money is to be handed back."""

    day: RangeDay
    moved: tuple[SignOn, ...]
    to_hand_back: tuple[SignOn, ...]


@verb(permission="rangeday.close_rangeday", title="Call the day off")
def call_off_day(*, range_day: RangeDay, reason: str, on: date, by: User, move_to: RangeDay | None = None) -> CalledOff:
    """Nobody shoots: every sign-on of the day is taken back with the kit that is out, and nothing stays charged.

    What a household had paid becomes a receipt of its account, which pays its open fees or stays as credit. With
    `move_to`, who had to pay signs on for that day at the price of this one, on account, and that is paid first.
    Visitors without a household get their money back by hand. Raises Refused without a reason, for a closed day, and
    where `move_to` is not open or not later.
    """
    day, move_to = _hold_both(range_day, move_to)
    if day.called_off_on:
        return CalledOff(day, (), tuple(selectors.to_hand_back(day)))
    if day.closed_on:
        raise Refused(f"{day} is closed and counted; reopen it first.")
    if not reason.strip():
        raise Refused("Say why the day is called off, such as: lightning.")
    if move_to and not (move_to.is_open and move_to.date > day.date):
        raise Refused("Move it to a later day that is open.")
    signed = list(
        day.sign_ons.filter(selectors.STANDS).select_related("person__household__party", "price", "tap").order_by("pk")
    )
    homes = {row.person.household_id for row in signed if row.person}
    charging.lock_charges((row.charge for row in signed if row.charge), also=homes)
    hold(Q(pk__in=[row.pk for row in signed]))
    for row in signed:
        bring_kit_back(take_off(sign_on=row, on=on, reason=f"called off: {reason.strip()}"[:150], by=by))
    moved = [_move(row, move_to, by) for row in signed if row.person and row.price] if move_to else []
    _keep_as_credit(day, signed, [row.charge for row in moved if row and row.charge], by)
    if balance(Role.TILL, max(day.date, last_day_posted() or day.date)) < 0:
        raise Refused("The cash box holds too little to hand back what visitors paid; bring cash from the bank first.")
    day.called_off_on, day.called_off_reason = on, reason.strip()[:150]
    day.save(update_fields=["called_off_on", "called_off_reason"])
    return CalledOff(day, tuple(row for row in moved if row), tuple(selectors.to_hand_back(day)))


def _hold_both(range_day: RangeDay, move_to: RangeDay | None) -> tuple[RangeDay, RangeDay | None]:
    wanted = {range_day.pk, *([move_to.pk] if move_to else [])}
    rows = RangeDay.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=wanted).order_by("pk")
    found = {row.pk: row for row in rows}
    return found[range_day.pk], found[move_to.pk] if move_to else None


def _keep_as_credit(day: RangeDay, signed: list[SignOn], moved: list[Charge], by: User) -> None:
    """What was paid in one go becomes one receipt, so that the tin keeps to the cent what was handed over."""
    paid = defaultdict(list)
    for row in signed:
        if row.person and row.paid in PAID_AT_THE_RANGE:
            together = row.tap_id or -row.pk
            paid[row.person.household, row.paid, together].append(row)
    for (household, method, _), rows in sorted(paid.items(), key=lambda each: each[1][0].pk):
        charging.record_receipt(
            household=household,
            amount=total(row.amount for row in rows),
            rounding=total(row.rounding for row in rows),
            method=Method(method),
            on=day.date,
            charges=[charge for charge in moved if charge.household_id == household.pk],
            reference=f"paid for {day_text(day.date)}, called off",
            by=by,
        )


def _move(row: SignOn, move_to: RangeDay, by: User) -> SignOn | None:
    """Signed on for the other day at the same price; None for who is signed on there already."""
    assert row.person
    assert row.price
    if selectors.signed_on(move_to, row.person):
        return None
    due = selectors.Tariff(Gear(row.gear), row.price, row.amount)
    return sign_on(
        range_day=move_to, person=row.person, gear=due.gear, paid=Paid.ACCOUNT, due=due, moved_from=row, by=by
    )
