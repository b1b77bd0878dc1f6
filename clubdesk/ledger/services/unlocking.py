"""A month that was locked by mistake, opened again by two people while its year is not closed."""

import uuid
from datetime import date, timedelta

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.models import FinancialYear, MonthBalance, MonthUnlock, UnlockState
from clubdesk.ledger.services.book import lock_book, written
from clubdesk.ledger.signals import month_unlocked
from clubdesk.ledger.states import UNLOCK
from clubdesk.verbs import verb


@verb(permission="ledger.lock_month", title="Ask to unlock a month")
def ask_to_unlock(
    *, year: FinancialYear, month_end: date, reason: str, on: date, by: User, key: uuid.UUID | None = None
) -> MonthUnlock:
    """Ask that the month that ends on `month_end` is opened again, and every later one of the year with it.

    Raises Refused without a reason, for a month that is not locked or whose year is closed, while a later year has
    locked months, and where somebody has asked for a month of the year already.
    """
    lock_book()
    if found := written(MonthUnlock, key):
        return found
    year = FinancialYear.objects.get(pk=year.pk)
    _refuse_unless_locked(year, month_end)
    if not reason.strip():
        raise Refused("Say why the month must be opened again.")
    if waiting := year.unlocks.filter(state=UnlockState.ASKED).first():
        raise Refused(f"{waiting.recorded_by} asked to unlock {waiting.month_end:%B %Y} already; decide on that first.")
    before = month_end.replace(day=1) - timedelta(days=1)
    return MonthUnlock.objects.create(
        key=key or uuid.uuid4(), year=year, month_end=month_end, reason=reason.strip()[:150], asked_on=on,
        stays_locked_through=before if before >= year.first_day else None, recorded_by=by,
    )  # fmt: skip


@verb(permission="ledger.agree_monthunlock", title="Agree, and unlock it")
def agree_to_unlock(*, unlock: MonthUnlock, on: date, by: User) -> MonthUnlock:
    """Open the month again, and every later one of its year; what was stored of them goes until they are locked anew.

    Raises Refused to whoever asked for it, and as asking does.
    """
    lock_book()
    document = MonthUnlock.objects.select_for_update(of=("self",), no_key=True).get(pk=unlock.pk)
    if document.state == UnlockState.AGREED:
        return document
    UNLOCK.refuse_unless(document.state, UnlockState.AGREED, f"It was declined: {document.answer}.")
    if document.recorded_by_id == by.pk:
        raise Refused("You asked for it; somebody else agrees to it.")
    year = FinancialYear.objects.get(pk=document.year_id)
    _refuse_unless_locked(year, document.month_end)
    document.state, document.decided_by, document.decided_on = UnlockState.AGREED, by, on
    document.save(update_fields=["state", "decided_by", "decided_on"])
    year.locked_through = document.stays_locked_through
    year.save(update_fields=["locked_through"])
    MonthBalance.objects.filter(month_end__range=(document.month_end, year.last_day)).delete()
    month_unlocked.send(sender=FinancialYear, month_end=document.month_end)
    document.refresh_from_db()
    return document


@verb(permission="ledger.agree_monthunlock", title="Decline")
def decline_unlock(*, unlock: MonthUnlock, reason: str, on: date, by: User) -> MonthUnlock:
    """Leave the month locked. Raises Refused without a reason, and once it is unlocked."""
    lock_book()
    document = MonthUnlock.objects.select_for_update(of=("self",), no_key=True).get(pk=unlock.pk)
    if document.state == UnlockState.DECLINED:
        return document
    UNLOCK.refuse_unless(document.state, UnlockState.DECLINED, "The month is unlocked already; lock it again instead.")
    if not reason.strip():
        raise Refused("Say why it stays locked.")
    document.state, document.decided_by, document.decided_on = UnlockState.DECLINED, by, on
    document.answer = reason.strip()[:150]
    document.save(update_fields=["state", "decided_by", "decided_on", "answer"])
    return document


def _refuse_unless_locked(year: FinancialYear, month_end: date) -> None:
    if year.is_closed:
        raise Refused(f"{year} is closed; it is never opened again.")
    if not year.locked_through or not year.first_day < month_end <= year.locked_through:
        raise Refused(f"{month_end:%B %Y} is not locked.")
    if month_end != selectors.month_end(month_end):
        raise Refused("Take the last day of a month.")
    later = FinancialYear.objects.filter(first_day__gt=year.last_day).exclude(locked_through=None).first()
    if later:
        raise Refused(f"Months of {later} are locked, which stand on this one; unlock those first.")
