"""Until when vouchers that were taken must be claimed: what waits, the least days first, and what has lapsed."""

from collections import Counter
from datetime import date, timedelta

from django.db.models import F, QuerySet

from clubdesk.clock import day_text
from clubdesk.fees.models import Lodgement, Voucher, VoucherState
from clubdesk.rooms import Waiting

SOON = 14
"""Within so many days the coordinator is told by letter."""
AT_LAST = 3
"""Within so many once more."""


def to_claim() -> QuerySet[Voucher]:
    """Vouchers that were taken and are in no claim yet, whose last day comes first, first; those without one last."""
    return Voucher.objects.filter(state=VoucherState.ACCEPTED).order_by(F("claim_by").asc(nulls_last=True), "pk")


def in_time(on: date, within: int | None = None) -> QuerySet[Voucher]:
    """Those of them that can still be claimed by their last day, as far as they have one within so many days."""
    rows = to_claim().filter(claim_by__gte=on)
    return rows if within is None else rows.filter(claim_by__lte=on + timedelta(days=within))


def too_late(on: date) -> QuerySet[Voucher]:
    """Those whose last day to claim has passed: nobody claimed them."""
    return to_claim().filter(claim_by__lt=on)


def paid_late(on: date) -> list[Lodgement]:
    """Claims that are not paid though the department promised it by a day that has passed, the oldest first."""
    waits = Voucher.objects.filter(state=VoucherState.LODGED).values("lodgement")
    rows = Lodgement.objects.filter(pk__in=waits, paid_on=None, scheme__promise_days__isnull=False)
    found = rows.select_related("scheme__department").order_by("lodged_on", "pk")
    return [each for each in found if each.promised_by and each.promised_by < on]


def department_is_late(on: date) -> Waiting:
    """How many claims are not paid by the promise, and by when the first was promised."""
    late = paid_late(on)
    return Waiting(len(late), by=min((each.promised_by for each in late if each.promised_by), default=None))


def by_days(on: date, within: int | None = None) -> list[tuple[date, int]]:
    """By which days how many must be claimed, the least days first."""
    days = Counter(day for day in in_time(on, within).values_list("claim_by", flat=True) if day)
    return sorted(days.items())


def to_claim_soon(on: date) -> Waiting:
    """How many must be claimed within the next days, and by when each: “2 by 3 Dec 2026, 1 by 9 Dec 2026”."""
    days = by_days(on, SOON)
    said = ", ".join(f"{count} by {day_text(day)}" for day, count in days)
    return Waiting(sum(count for _, count in days), by=days[0][0] if days else None, line=said)


def nearest(on: date) -> tuple[date, int] | None:
    """The next last day to claim, where the coordinator is told of it now, and within how many days it falls."""
    day = in_time(on, SOON).values_list("claim_by", flat=True).first()
    return (day, AT_LAST if (day - on).days <= AT_LAST else SOON) if day else None
