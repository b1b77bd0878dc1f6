"""Until when vouchers that were taken must be claimed: what waits, the least days first, and what has lapsed."""

from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import F, QuerySet

from clubdesk.clock import day_text
from clubdesk.fees.models import Lodgement, Voucher, VoucherState
from clubdesk.moment import once
from clubdesk.money import sum_of
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


@once
def claims_unpaid() -> list[tuple[Lodgement, Decimal]]:
    """Claims of which the department has something to pay, the oldest first, each with what that is."""
    rows = Lodgement.objects.filter(paid_on=None, vouchers__state=VoucherState.LODGED).order_by("lodged_on", "pk")
    claims = rows.select_related("scheme__department").annotate(waits=sum_of("vouchers__amount"))
    return [(claim, claim.waits) for claim in claims]


def paid_late(on: date) -> list[Lodgement]:
    """Claims that are not paid though the department promised it by a day that has passed, the oldest first."""
    return [claim for claim, _ in claims_unpaid() if claim.promised_by and claim.promised_by < on]


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
