"""Counting the tin, closing and reopening a day, and bringing takings to the bank."""

import uuid
from collections.abc import Mapping
from datetime import date

from django.conf import settings
from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance, last_day_posted
from clubdesk.money import as_amount, from_cents, nil, positive, shown
from clubdesk.rangeday import posting, selectors
from clubdesk.rangeday.models import Banking, CountedPiece, RangeDay, TillCount
from clubdesk.verbs import verb


def locked(range_day: RangeDay) -> RangeDay:
    """One change at a time to a range day."""
    return RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)


def worth(pieces: Mapping[int, int]) -> Money:
    """What notes and coins come to; `pieces` says how many of each worth in cents. Raises Refused for odd ones."""
    for cents, number in pieces.items():
        if cents not in settings.CASH_PIECES:
            raise Refused(f"There is no note or coin of {shown(from_cents(cents))}.")
        if number < 0:
            raise Refused("Nobody counts fewer than no coins.")
    return from_cents(sum(cents * number for cents, number in pieces.items()))


@verb(permission="rangeday.close_rangeday", title="Count the cash box and close the day")
def close_day(
    *,
    range_day: RangeDay,
    pieces: Mapping[int, int],
    second_counter: User,
    by: User,
    on: date,
    opening: Money | None = None,
    card_slip: Money | None = None,
    receipts_on_slip: bool = True,
    reason: str = "",
    key: uuid.UUID | None = None,
) -> TillCount:
    """Count the tin, compare the reader's slip, post any difference to Cash over and short, and close the day.

    `pieces` says how many notes and coins of each worth in cents. `opening` is what was in the tin besides the day's
    own fees; where it is not given, all that the ledger knows of. Two people count; a difference needs a reason.
    Raises Refused otherwise, for a day that is counted already or still to come, and for an opening that the ledger
    knows nothing of; the same key again is answered with its count.
    """
    day = locked(range_day)
    if found := ledger.written(TillCount, key):
        return found
    if standing := selectors.standing_count(day):
        raise Refused(counted_in_words(standing))
    refuse_count(day, on, by, second_counter)
    ledger.lock_book()
    tin = selectors.tin(day)
    opening = tin.opening if opening is None else as_amount(opening)
    card_receipts = tin.card_receipts if receipts_on_slip else nil()
    count = TillCount(
        key=key or uuid.uuid4(),
        range_day=day,
        recorded_by=by,
        second_counter=second_counter,
        opening=opening,
        expected=tin.expected(opening),
        counted=worth(pieces),
        card_receipts=card_receipts,
        card_expected=tin.card + card_receipts,
        card_slip=nil() if card_slip is None else as_amount(card_slip),
        reason=reason.strip()[:150],
    )
    _refuse_figures(count, tin, slip_given=card_slip is not None)
    _save(count, pieces)
    _post_difference(count, by)
    day.closed_on = on
    day.save(update_fields=["closed_on"])
    return count


def _save(count: TillCount, pieces: Mapping[int, int]) -> None:
    count.save()
    counted = sorted(((cents, number) for cents, number in pieces.items() if number), reverse=True)
    CountedPiece.objects.bulk_create(CountedPiece(till_count=count, cents=cents, number=n) for cents, n in counted)


def refuse_count(day: RangeDay, on: date, by: User, second_counter: User) -> None:
    """Raises Refused where two people cannot count that day now."""
    if day.called_off_on:
        raise Refused(f"{day} was called off; what cash there is counts with the next day.")
    if on < day.date:
        raise Refused(f"{day} is still to come.")
    if second_counter.pk == by.pk:
        raise Refused("Two people count the cash box; choose the other one.")


def _refuse_figures(count: TillCount, tin: selectors.Tin, *, slip_given: bool) -> None:
    if count.opening > tin.most:
        raise Refused(
            f"Besides today’s fees the ledger knows of {shown(tin.most)} in cash; the float cannot be more than that."
            " If it is, count it with the day it came from, or write a journal first."
        )
    if not slip_given and count.card_expected > nil():
        raise Refused(f"By the sheet {shown(count.card_expected)} was paid by card; write the total of the slip.")
    if count.card_slip < nil():
        raise Refused("A slip's total is not negative; where more was paid back than taken, write a journal.")
    if count.entries_called_for and not count.reason:
        raise Refused(f"{differences_in_words(count)} Say what you know of it.")


def counted_in_words(count: TillCount) -> str:
    """That a day is counted already: by whom, and what was in the cash box and on the slip."""
    slip = f" and {shown(count.card_slip)} on the card slip" if count.card_slip > nil() else ""
    who = f"{selectors.name_of(count.recorded_by)} and {selectors.name_of(count.second_counter)}"
    return (
        f"The day was counted and closed already by {who}, with {shown(count.counted)} in the cash box{slip}."
        " Reopen it to count again."
    )


def differences_in_words(count: TillCount) -> str:
    """A sentence for each method whose count differs from what the book expects."""
    parts = []
    for what, expected, difference in (
        ("the cash box", count.expected, count.difference),
        ("the card slip", count.card_expected, count.card_difference),
    ):
        if difference != nil():
            word = "over" if difference > nil() else "short"
            parts.append(f"{what} should hold {shown(expected)} and is {word} by {shown(abs(difference))}")
    said = ", and ".join(parts)
    return f"{said[:1].upper()}{said[1:]}." if said else ""


def _post_difference(count: TillCount, by: User) -> None:
    if count.entries_called_for:
        ledger.post(
            source=count,
            purpose="difference",
            on=ledger.first_open_day(count.range_day.date),
            narration=f"{count}: difference",
            lines=posting.count_lines(count.difference, count.card_difference),
            by=by,
        )


@verb(permission="rangeday.close_rangeday", title="Reopen this day")
def reopen_day(*, range_day: RangeDay, reason: str, on: date, by: User) -> TillCount:
    """Open a counted day again: its difference is reversed, the count stays with who reopened it and why.

    Raises Refused without a reason, for a day that was not counted, and in a locked month.
    """
    day = locked(range_day)
    count = TillCount.objects.filter(range_day=day, reopened_on=None).first()
    if count is None:
        raise Refused(f"{day} was not counted yet.")
    if not reason.strip():
        raise Refused("Say why the day is opened again.")
    ledger.lock_book()
    ledger.refuse_shut(day.date)
    ledger.undo_entries_of(document=count, on=day.date, reason=f"{day} reopened", by=by)
    count.reopened_on, count.reopened_by, count.reopen_reason = on, by, reason.strip()[:150]
    count.save(update_fields=["reopened_on", "reopened_by", "reopen_reason"])
    day.closed_on = None
    day.save(update_fields=["closed_on"])
    return count


@verb(permission="rangeday.add_banking", title="Bank takings")
def bank_takings(*, amount: Money, on: date, by: User, key: uuid.UUID | None = None) -> Banking:
    """Bring cash from the till to the bank. Raises Refused for more than the till holds."""
    ledger.lock_book()
    if found := ledger.written(Banking, key):
        return found
    amount = positive(amount)
    in_the_tin = as_amount(min(balance(Role.TILL, on), balance(Role.TILL, max(on, last_day_posted() or on))))
    if amount > in_the_tin:
        raise Refused(f"The cash box holds {shown(in_the_tin)} on {day_text(on)}; no more than that can be banked.")
    document = Banking.objects.create(key=key or uuid.uuid4(), amount=amount, banked_on=on, recorded_by=by)
    ledger.post(
        source=document,
        purpose="banked",
        on=on,
        narration=str(document),
        lines=posting.banking_lines(amount),
        by=by,
    )
    return document


@verb(permission="rangeday.add_banking", title="Cancel this banking")
def cancel_banking(*, banking: Banking, reason: str, on: date, by: User) -> Banking:
    """Undo a banking that was written down wrongly; its entry is reversed on its own day, or after a lock on `on`."""
    document = Banking.objects.select_for_update(of=("self",), no_key=True).get(pk=banking.pk)
    if document.cancelled_on:
        return document
    if not reason.strip():
        raise Refused("Say why the banking is cancelled.")
    if on < document.banked_on:
        raise Refused(f"It was banked on {day_text(document.banked_on)}; it cannot be cancelled before.")
    ledger.lock_book()
    day = on if ledger.is_shut(document.banked_on) else document.banked_on
    ledger.undo_entries_of(document=document, on=day, reason="the banking was cancelled", by=by)
    document.cancelled_on, document.cancel_reason = on, reason.strip()[:150]
    document.save(update_fields=["cancelled_on", "cancel_reason"])
    return document
