"""What the sheet shows of somebody at one tap: whom to ring, what to know, who may collect. Fetched at that moment
and never stored: not by the browser, not by the sheet, not by its worker.
"""

from datetime import date, timedelta
from typing import Any

from django.contrib import admin
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.db.models import QuerySet
from django.http import HttpRequest, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clubdesk import clock
from clubdesk.care.models import Kind
from clubdesk.care.selectors import Known, children, with_nobody_to_ring
from clubdesk.errors import Refused
from clubdesk.faults import sentence_of
from clubdesk.rangeday import services
from clubdesk.rangeday.models import RangeDay, SignOn
from clubdesk.rangeday.selectors import STANDS
from clubdesk.roll.models import Person
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section, link_to
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may, verb_of

LATELY = timedelta(days=90)
SIGNED_OUT, MAY_NOT = "You are signed out.", "Your sign-in may not see this. Ask an administrator for the role."


def care(request: HttpRequest, pk: int, person: int) -> HttpResponseBase:
    """Whom to ring for who is signed on: to the sheet's script as JSON, to anybody else who may as a page.

    Bare, since each look is written down before anything is shown.
    """
    is_for_script = request.headers.get("Accept", "").startswith("application/json")
    response = _as_json(request, pk, person) if is_for_script else admin.site.admin_view(_as_page)(request, pk, person)
    response["Cache-Control"] = "no-store"
    response["Vary"] = "Accept, Cookie"
    return response


def _as_json(request: HttpRequest, pk: int, person: int) -> HttpResponseBase:
    if not request.user.is_authenticated:
        return JsonResponse({"sentence": SIGNED_OUT}, status=403)
    user = signed_in(request)
    if not (user.is_staff and may(user, verb_of(services.look_at_the_range).permission)):
        return JsonResponse({"sentence": MAY_NOT}, status=403)
    try:
        return JsonResponse(told(_looked(request, pk, person)))
    except (Refused, OperationalError) as refusal:
        return JsonResponse({"sentence": sentence_of(refusal)}, status=409)


def _as_page(request: HttpRequest, pk: int, person: int) -> HttpResponseBase:
    if not may(request.user, verb_of(services.look_at_the_range).permission):
        raise PermissionDenied
    parent = Link("The sheet", reverse("admin:range_sheet", args=[pk]))
    shown: dict[str, Any] = {}
    try:
        shown = told(_looked(request, pk, person))
    except (Refused, OperationalError) as refusal:
        shown = {"sentence": sentence_of(refusal)}
    title = shown.get("name", "Whom to ring")
    status = 409 if "sentence" in shown else 200
    return site_page(request, admin.site, "rangeday/care.html", title, status=status, parent=parent, shown=shown)


def _looked(request: HttpRequest, pk: int, person: int) -> Known:
    day = get_object_or_404(RangeDay, pk=pk)
    one = get_object_or_404(Person.everyone.select_related("merged_into"), pk=person).now
    return services.look_at_the_range(range_day=day, person=one, by=signed_in(request))


def told(known: Known) -> dict[str, Any]:
    """What a helper is told, in the order in which it is needed."""
    return {
        "name": str(known.person),
        "ring": [[each.name, each.who, each.phone] for each in known.ring],
        "know": [list(each) for each in known.to_know],
        "collect": [[each.name, each.phone] for each in known.collect],
        "photos": known.agreed(Kind.PHOTOS),
        "first_aid": known.agreed(Kind.FIRST_AID),
    }


def came_and_nobody_can_be_rung(on: date) -> QuerySet[Person]:
    """The children who came lately, for whom nobody is named and no guardian has a phone."""
    days = RangeDay.objects.filter(date__gt=on - LATELY, date__lte=on)
    came = SignOn.objects.filter(STANDS, range_day__in=days.order_by().values("pk"), person__isnull=False)
    return with_nobody_to_ring(children(on).filter(pk__in=came.order_by().values("person")))


def nobody_to_ring(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """Who they are, each with the family's page and the child's, where somebody is named."""
    people = came_and_nobody_can_be_rung(clock.today()).select_related("household")
    rows = [(link_to(each), link_to(each.household)) for each in people]
    section = Section(
        "Came in the last three months", ["Child", "Family"], rows, "Somebody can be rung for every child who came.",
        note="Name somebody on the child’s page, or write a guardian’s phone on the family’s." if rows else "",
    )  # fmt: skip
    parent = Link("Range days", reverse("admin:rangeday_rangeday_changelist"))
    return site_page(request, site, "screens/figures.html", "Nobody to ring", parent=parent, sections=[section])
