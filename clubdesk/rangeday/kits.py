"""Questions about kit: what can be given out, what is out and with whom."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db.models import Count, F, FilteredRelation, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from clubdesk.clock import day_text
from clubdesk.rangeday.models import Kit, KitCheck, KitLoan, KitState, RangeDay


@dataclass(frozen=True)
class KitLine:
    """A piece of kit that can be given out, and the id and name of whose sign-on it is out with (None: it is in).

    `due`: it was used as often as it may be before a check; `unsafe`: since when it is set aside, and why.
    """

    kit: Kit
    holder: int | None
    who: str
    due: bool
    unsafe: str = ""


def kit_on_hand(day: date) -> list[KitLine]:
    """Kit in or out, also what is unsafe; since when, where since an earlier day. What is retired only while out."""
    latest = KitCheck.objects.filter(kit=OuterRef("pk")).order_by("-pk")
    fit = latest.filter(state=KitState.USABLE).values("recorded_at")[:1]
    after = KitLoan.objects.filter(kit=OuterRef("pk"), recorded_at__gt=Coalesce(OuterRef("fit_at"), LONG_AGO))
    uses = after.order_by().values("kit").annotate(times=Count("pk")).values("times")
    kit = with_holder().annotate(fit_at=Subquery(fit))
    kit = kit.annotate(
        uses=Subquery(uses),
        found_on=Subquery(latest.values("checked_on")[:1]),
        found=Subquery(latest.values("note")[:1]),
    )
    lines = []
    for each in kit.exclude(Q(state=KitState.RETIRED) & Q(out__isnull=True)).order_by("kind", "number"):
        due = each.check_after is not None and (each.uses or 0) >= each.check_after
        lines.append(KitLine(each, each.holder, _held_by(each, day), due, _unsafe(each)))
    return lines


def _unsafe(kit: Any) -> str:
    """Since when a piece of `kit_on_hand` is unsafe, and why; blank where it is fit for use."""
    return "" if kit.state == KitState.USABLE else f"since {day_text(kit.found_on, year=False)}: {kit.found}"


def kit_in_hands(day: date) -> list[KitLine]:
    """Of that only what is out, with whose sign-on; whether it is due for a check is not asked."""
    kit = with_holder().filter(out__isnull=False).order_by("kind", "number")
    return [KitLine(each, each.holder, _held_by(each, day), due=False) for each in kit]


def with_holder() -> QuerySet[Any]:
    """Kit with the sign-on that each piece is out with (`holder`), who that is, and since which day."""
    out = FilteredRelation("loans", condition=Q(loans__back_at=None))
    kit: QuerySet[Any] = Kit.objects.annotate(out=out).annotate(
        holder=F("out__sign_on"),
        given=F("out__sign_on__person__given_name"),
        family=F("out__sign_on__person__family_name"),
        visitor=F("out__sign_on__visitor_name"),
        since=F("out__sign_on__range_day__date"),
    )
    return kit


def _held_by(kit: Any, day: date) -> str:
    """Whose hands a piece of `with_holder` is in; blank where it is in."""
    who = f"{kit.given} {kit.family}" if kit.given else kit.visitor or ""
    if kit.since and kit.since != day:
        who += f", since {day_text(kit.since)}"
    return f"{who} (unsafe: take it back now)" if kit.state != KitState.USABLE else who


LONG_AGO = datetime(1990, 1, 1, tzinfo=UTC)


def kit_out(range_day: RangeDay | None = None) -> QuerySet[KitLoan]:
    """What is still out, of one day or of all."""
    rows = KitLoan.objects.filter(back_at=None).select_related("kit", "sign_on__person", "sign_on__range_day")
    return rows.filter(sign_on__range_day=range_day) if range_day else rows
