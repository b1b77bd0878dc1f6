"""The sheet of a range day, made for a thumb, and where phones send what they have kept."""

import json
import uuid
from datetime import datetime
from typing import Any

from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.db import DataError, IntegrityError, OperationalError
from django.http import HttpRequest, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.template.response import TemplateResponse
from django.urls import reverse
from django.views.decorators.cache import never_cache

from clubdesk.money import plain
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.models import Gear, Paid, RangeDay, SignOn, Tap
from clubdesk.rangeday.services.taps import Tapped

MOST_AT_ONCE = 200


def _may(request: HttpRequest) -> None:
    if not request.user.has_perm("rangeday.add_signon"):
        raise PermissionDenied


@never_cache
def sheet(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponseBase:
    """The sheet: it works on once it is open, also without reception."""
    _may(request)
    day = get_object_or_404(RangeDay, pk=pk)
    lines = [] if day.closed_on else selectors.sheet(day, with_money=request.user.has_perm("fees.view_charge"))
    prices = {kind: plain(figure) if figure is not None else None for kind, figure in selectors.prices(day).items()}
    context = {
        **site.each_context(request),
        "title": str(day),
        "day": day,
        "roll": [[line.person, line.name, line.household, int(line.member), "; ".join(line.notes)] for line in lines],
        "told": {
            "day": day.pk,
            "prices": prices,
            "send": reverse("admin:range_taps", args=[day.pk]),
            "signed": signed(day),
        },
    }
    return TemplateResponse(request, "rangeday/sheet.html", context)


def signed(day: RangeDay) -> list[list[Any]]:
    """Who has signed on, as the sheet shows it: whom, what for, by which tap; the latest first."""
    rows = day.sign_ons.filter(selectors.STANDS).select_related("person", "tap").order_by("-pk")
    return [[row.person_id, row.who, in_words(row), str(row.tap.key) if row.tap else ""] for row in rows]


def in_words(row: SignOn) -> str:
    if not row.amount.amount:
        return "own gear"
    return f"{row.get_gear_display().lower()}, {plain(row.handed_over)} {row.get_paid_display().lower()}"


@never_cache
def taps(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponseBase:
    """Take what a phone sends: each tap in a transaction of its own, told what became of it, and who has signed on."""
    _may(request)
    day = get_object_or_404(RangeDay, pk=pk)
    told = []
    if request.method == "POST":
        try:
            sent = json.loads(request.body)["taps"][:MOST_AT_ONCE]
            wanted = [tapped_of(each) for each in sent]
        except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
            return JsonResponse({"sentence": "This is nothing that the sheet sends."}, status=400)
        for tapped in wanted:
            try:
                tap: Tap | None = services.receive_tap(range_day=day, tapped=tapped, by=request.user)  # type: ignore[arg-type]
            except (OperationalError, IntegrityError, DataError):
                tap = None  # the phone keeps it and sends it again
            if tap:
                told.append([str(tap.key), tap.state, tap.question])
        day.refresh_from_db()
    return JsonResponse({"told": told, "signed": signed(day), "closed": day.closed_on is not None})


def tapped_of(sent: dict[str, Any]) -> Tapped:
    """What was sent, read strictly; raises what reading it raises."""
    at = datetime.fromisoformat(sent["at"])
    if at.tzinfo is None:
        raise ValueError("a moment without its time zone")
    return Tapped(
        key=uuid.UUID(sent["key"]),
        at=at,
        undo=bool(sent.get("undo")),
        gear=Gear(sent.get("gear", Gear.OWN)),
        paid=Paid(sent.get("paid", Paid.NOTHING)),
        people=tuple(int(pk) for pk in sent.get("people", ()))[:12],
        visitor_name=str(sent.get("visitor_name", "")).strip(),
        visitor_guardian=str(sent.get("visitor_guardian", "")).strip(),
        visitor_phone=str(sent.get("visitor_phone", "")).strip(),
    )
