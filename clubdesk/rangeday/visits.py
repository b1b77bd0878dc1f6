"""The visitors' own page, which lists nothing, and the code at the table that leads to it."""

import uuid
from typing import Any

from django import forms
from django.conf import settings
from django.contrib.admin import AdminSite
from django.db import IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.cache import never_cache

from clubdesk.courses.services import within_limits
from clubdesk.courses.views import address_of
from clubdesk.errors import Refused
from clubdesk.faults import sentence_of
from clubdesk.paying import Code
from clubdesk.rangeday import selectors, services, visiting
from clubdesk.rangeday.models import RangeDay, SafetyText
from clubdesk.roll.views import family_page
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link
from clubdesk.verbs import shell_user

TITLE = "Sign on as a visitor"
SLOW_DOWN = "Very many signed on from here just now. Please ask a helper at the table."


class VisitForm(forms.Form):
    """Who comes; for a child, who answers for it; and that they agree to the safety rules."""

    name = forms.CharField(
        label="Name of who shoots",
        max_length=100,
        widget=forms.TextInput({"autocomplete": "off"}),
        error_messages={"required": "Write your name."},
    )
    is_child = forms.BooleanField(label="A child (under 18)", required=False)
    guardian = forms.CharField(
        label="For a child: guardian’s name", max_length=100, required=False,
        widget=forms.TextInput({"autocomplete": "name"}),
    )  # fmt: skip
    phone = forms.CharField(
        label="Phone, for a child the guardian’s", max_length=30, required=False,
        help_text="Whom we ring if something happens. A child does not shoot without it.",
        widget=forms.TextInput({"type": "tel", "autocomplete": "tel"}),
    )  # fmt: skip
    agrees = forms.BooleanField(
        label="I have read the safety rules and agree to them",
        error_messages={"required": "Read the safety rules, and tick that you agree."},
    )
    key = forms.UUIDField(widget=forms.HiddenInput)
    website = forms.CharField(required=False, widget=forms.TextInput({"tabindex": "-1", "autocomplete": "off"}))


@never_cache
def page(request: HttpRequest, token: str) -> HttpResponseBase:
    """The form of a day's visitors; once it is sent they wait at the table for a helper."""
    try:
        day = visiting.day_of(token)
    except Refused as refusal:
        return family_page(request, "book/message.html", TITLE, status=404, sentence=refusal.sentence)
    form = VisitForm(request.POST or None, initial={"key": uuid.uuid4()}, label_suffix="")
    if request.method != "POST":
        return _page(request, day, form)
    if request.POST.get("website"):
        return HttpResponseRedirect(reverse("visit:thanks"))
    if not form.is_valid():
        return _page(request, day, form, status=422)
    try:
        if not within_limits("visit", address_of(request)):
            form.add_error(None, SLOW_DOWN)
            return _page(request, day, form, status=429)
        services.sign_on_as_visitor(range_day=day, by=shell_user(), safety=_rules_read(request), **_said(form))
    except (Refused, IntegrityError, OperationalError) as refusal:
        form.add_error(None, sentence_of(refusal))
        return _page(request, day, form, status=422)
    return HttpResponseRedirect(reverse("visit:thanks"))


def _said(form: VisitForm) -> dict[str, Any]:
    return {name: form.cleaned_data[name] for name in ("name", "is_child", "guardian", "phone", "key")}


def _rules_read(request: HttpRequest) -> SafetyText | None:
    """The safety rules that stood on the page when it was sent."""
    sent = request.POST.get("rules", "")
    is_number = sent.isascii() and sent.isdigit() and len(sent) < 10
    return SafetyText.objects.filter(pk=int(sent)).first() if is_number else None


def _page(request: HttpRequest, day: RangeDay, form: VisitForm, status: int = 200) -> HttpResponseBase:
    rules = selectors.safety_text(day.date)
    fee = selectors.prices(day)["visitor"]
    return family_page(request, "rangeday/visit.html", TITLE, status, day=day, form=form, rules=rules, fee=fee)


@never_cache
def thanks(request: HttpRequest) -> HttpResponseBase:
    """The same for everybody: a helper comes next."""
    return family_page(request, "rangeday/visit_thanks.html", "Thank you")


def code(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponseBase:
    """The code to put on the table, for this day alone."""
    day = get_object_or_404(RangeDay, pk=pk)
    parent = Link("The sheet", reverse("admin:range_sheet", args=[pk]))
    context: dict[str, Any] = {"day": day, "parent": parent}
    try:
        visiting.refuse_other_days(day)
        address = f"{settings.SITE_URL}{visiting.path_of(day)}"
        context |= {"address": address, "drawing": Code(address).drawing}
    except Refused:
        context["sentence"] = "This code works on the day itself, until it is counted."
    return site_page(request, site, "rangeday/visitors.html", "Visitors sign on by themselves", **context)
