"""A day called off, or moved: nothing is charged, what was prepaid moves or stays the household's credit."""

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
from clubdesk.mail.models import Message
from clubdesk.money import total
from clubdesk.rangeday import letters, selectors
from clubdesk.rangeday.models import PAID_AT_THE_RANGE, Gear, Paid, RangeDay, SignOn
from clubdesk.rangeday.services.signing import bring_kit_back, hold, sign_on, take_off
from clubdesk.verbs import verb


@dataclass(frozen=True)
class CalledOff:
    """A day that was called off: who moved to another day, whose money is to be handed back, who was told, and the
    day that it was moved to.
    """

    day: RangeDay
    moved: tuple[SignOn, ...]
    to_hand_back: tuple[SignOn, ...]
    letters: tuple[Message, ...] = ()
    instead: RangeDay | None = None


@verb(permission="rangeday.close_rangeday", title="Call the day off")
def call_off_day(
    *, range_day: RangeDay, reason: str, on: date, by: User, move_to: RangeDay | None = None, tell_them: bool = False,
    also_usual: bool = False, letter: str = letters.AS_WRITTEN,
) -> CalledOff:  # fmt: skip
    """Nobody shoots: every sign-on of the day is taken back with the kit that is out, and nothing stays charged.

    What a household had paid becomes a receipt of its account, which pays its open fees or stays as credit. With
    `move_to`, who had to pay signs on for that day at the price of this one, on account, and that is paid first.
    Visitors without a household get their money back by hand. Where it is to `tell_them`, each family of who signed on
    has one `letter`, and `also_usual` each of who usually comes on such days.

    Raises Refused without a reason, for a closed day, where `move_to` is not open or not later, and for an unknown
    field of the letter.
    """
    day, move_to = _hold_both(range_day, move_to)
    if day.called_off_on:
        return _as_it_was(day)
    _refuse_unready(day, reason)
    if tell_them:
        letters.refuse_unclear(letter)
    signed, moved = _call_off(day, move_to, reason.strip(), on, by)
    told: list[Message] = []
    if tell_them:
        families = letters.affected(day, signed, also_usual=also_usual)
        told = letters.tell_called_off(day, letter, families, _by_the_old(moved))
    return CalledOff(day, tuple(moved), tuple(selectors.to_hand_back(day)), tuple(told))


@verb(permission="rangeday.close_rangeday", title="Move it to another day")
def move_day(
    *, range_day: RangeDay, to: date, reason: str, on: date, by: User, tell_them: bool = False,
    also_usual: bool = False, letter: str = letters.AS_MOVED,
) -> CalledOff:  # fmt: skip
    """The day is called off; the same range has one on the day `to` instead, at the same hours unless it has its own.

    Who had signed on signs on there at the same price, and what was paid pays for it. Told are the same families as of
    a day that is called off. Raises Refused as calling off does, for a day on which nobody shoots, for one that has
    passed, and for an earlier one where somebody has signed on already.
    """
    old = RangeDay.objects.get(pk=range_day.pk)
    if old.called_off_on:
        return _as_it_was(old)
    _refuse_unready(old, reason)
    if to == old.date or to < on or selectors.closed_among([to]):
        raise Refused("Choose another day, from today on, on which the club shoots.")
    if tell_them:
        letters.refuse_unclear(letter, letters.MOVED_FIELDS)
    hours = {"begins_at": old.begins_at, "ends_at": old.ends_at}
    found, _ = RangeDay.objects.get_or_create(date=to, place=old.place, defaults=hours)
    day, new = _hold_both(old, found)
    assert new
    if day.called_off_on:
        return _as_it_was(day)
    somebody = day.sign_ons.filter(selectors.STANDS).exists()
    words = f"moved to {day_text(new.date, weekday=True)}: {reason.strip()}"
    signed, moved = _call_off(day, new if somebody else None, words, on, by)
    told: list[Message] = []
    if tell_them:
        families = letters.affected(day, signed, also_usual=also_usual)
        told = letters.tell_moved(day, new, reason.strip(), letter, families, _by_the_old(moved))
    return CalledOff(day, tuple(moved), tuple(selectors.to_hand_back(day)), tuple(told), new)


def _as_it_was(day: RangeDay) -> CalledOff:
    """A day that was called off before: nothing more is done."""
    return CalledOff(day, (), tuple(selectors.to_hand_back(day)), tuple(letters.of_calling_off(day)))


def _refuse_unready(day: RangeDay, reason: str) -> None:
    if day.closed_on:
        raise Refused(f"{day} is closed and counted; reopen it first.")
    if not reason.strip():
        raise Refused("Say why the day is called off, such as: lightning.")


def _by_the_old(moved: list[SignOn]) -> dict[int, SignOn]:
    return {row.moved_from_id: row for row in moved if row.moved_from_id}


def _call_off(
    day: RangeDay, move_to: RangeDay | None, reason: str, on: date, by: User
) -> tuple[list[SignOn], list[SignOn]]:
    """Take back all that stands on the day. Returns who had signed on, and the new sign-ons of who moved."""
    if move_to and not (move_to.is_open and move_to.date > day.date):
        raise Refused("Move it to a later day that is open.")
    signed = list(
        day.sign_ons.filter(selectors.STANDS).select_related("person__household__party", "price", "tap").order_by("pk")
    )
    homes = {row.person.household_id for row in signed if row.person}
    charging.lock_charges((row.charge for row in signed if row.charge), also=homes)
    hold(Q(pk__in=[row.pk for row in signed]))
    for row in signed:
        bring_kit_back(take_off(sign_on=row, on=on, reason=f"called off: {reason}"[:150], by=by))
    asked = [_move(row, move_to, by) for row in signed if row.person and row.price] if move_to else []
    moved = [row for row in asked if row]
    _keep_as_credit(day, signed, [row.charge for row in moved if row.charge], by)
    if balance(Role.TILL, max(day.date, last_day_posted() or day.date)) < 0:
        raise Refused("The cash box holds too little to hand back what visitors paid; bring cash from the bank first.")
    day.called_off_on, day.called_off_reason = on, reason[:150]
    day.save(update_fields=["called_off_on", "called_off_reason"])
    return signed, moved


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
