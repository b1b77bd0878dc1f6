"""Helpers count at the range; who may close the day sees what they counted, and posts it."""

import uuid
from collections.abc import Mapping
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.money import as_amount, nil
from clubdesk.rangeday import handed_in, selectors
from clubdesk.rangeday.models import RangeCount, RangeDay
from clubdesk.rangeday.services.counting import counted_in_words, locked, refuse_count, worth
from clubdesk.verbs import verb


@verb(permission="rangeday.add_signon", title="Count the cash box at the range")
def hand_in_count(
    *, range_day: RangeDay, pieces: Mapping[int, int], second_counter: User, on: date, by: User,
    card_slip: Money | None = None, note: str = "", key: uuid.UUID | None = None,
) -> RangeCount:  # fmt: skip
    """Two helpers have counted: `pieces` says how many notes and coins of each worth in cents. Nothing is posted.

    Raises Refused for a day that is closed, called off or to come, and where nobody else counted along.
    """
    day = locked(range_day)
    if found := ledger.written(RangeCount, key):
        return found
    if standing := selectors.standing_count(day):
        raise Refused(counted_in_words(standing))
    refuse_count(day, on, by, second_counter)
    counted = worth(pieces)
    if card_slip is not None and as_amount(card_slip) < nil():
        raise Refused("A slip's total is not negative; tell the coordinator in the note.")
    return RangeCount.objects.create(
        key=key or uuid.uuid4(), range_day=day, counted=counted, second_counter=second_counter, recorded_by=by,
        pieces={str(cents): number for cents, number in sorted(pieces.items()) if number}, note=note.strip()[:150],
        card_slip=None if card_slip is None else as_amount(card_slip),
    )  # fmt: skip


@verb(permission="rangeday.add_signon", title="Confirm what was counted")
def confirm_count(*, range_day: RangeDay, by: User) -> RangeCount:
    """The second of the two says by their own sign-in that they counted the same. Confirmed once, it stays so.

    Raises Refused for anybody else, where nothing was counted, and once the day is closed.
    """
    day = locked(range_day)
    count = handed_in.latest_count(day)
    if count is None:
        raise Refused("Nobody has counted at the range yet.")
    if count.second_counter_id != by.pk:
        raise Refused(f"{selectors.name_of(count.second_counter)} counted along and confirms it.")
    if count.confirmed_at is None:
        if not day.is_open:
            raise Refused(f"{day} is {day.standing} already.")
        count.confirmed_at = clock.now()
        count.save(update_fields=["confirmed_at"])
    return count
