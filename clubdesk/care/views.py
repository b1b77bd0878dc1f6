"""The page of a health note at a desk. Opening it is written down, so it is bare: nobody else may open it unseen."""

from django import forms
from django.contrib import admin, messages
from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.http import HttpRequest, HttpResponseRedirect, QueryDict
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.utils.cache import add_never_cache_headers

from clubdesk.care import services
from clubdesk.care.forms import HEALTH, health_fields, health_shown
from clubdesk.care.selectors import Known
from clubdesk.errors import Refused
from clubdesk.faults import sentence_of
from clubdesk.roll.models import Person
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, page_of
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may, verb_of


class NoteForm(forms.Form):
    """What a helper must know, and who said so."""

    said_by = forms.CharField(
        label="Who said so",
        max_length=100,
        help_text="A guardian, or the member. Write only what they want us to know.",
    )

    def __init__(self, data: QueryDict | None):
        super().__init__(data, label_suffix="")
        self.fields = {**health_fields(), **self.fields}


def health(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Show somebody's health note to who may see it, and take another or delete it."""
    response: HttpResponseBase = admin.site.admin_view(_health)(request, pk=pk)
    add_never_cache_headers(response)
    response["Cache-Control"] = "no-store"
    return response


def _health(request: HttpRequest, pk: int) -> HttpResponseBase:
    user = signed_in(request)
    if not may(user, verb_of(services.look).permission):
        raise PermissionDenied
    person = get_object_or_404(Person.objects.select_related("household"), pk=pk, erased_on=None)
    form = NoteForm(request.POST if "keep" in request.POST else None)
    try:
        if "forget" in request.POST:
            services.forget_health(person=person, by=user)
            messages.success(request, "The health note is deleted; nothing of it stays.")
            return HttpResponseRedirect(page_of(person))
        if form.is_valid():
            services.note_health(person=person, by=user, **form.cleaned_data)
            messages.success(request, "What a helper must know is written down.")
            return HttpResponseRedirect(page_of(person))
    except (Refused, OperationalError) as refusal:
        form.add_error(None, sentence_of(refusal))
    return _page(request, person, services.look(person=person, by=user), form)


def _page(request: HttpRequest, person: Person, known: Known, form: NoteForm) -> HttpResponseBase:
    if not form.is_bound:
        form.initial = {**health_shown(known), "said_by": known.health.said_by if known.health else ""}
    return site_page(
        request,
        admin.site,
        "care/note.html",
        f"Health note: {person}",
        status=422 if form.errors else 200,
        parent=Link(str(person), page_of(person)),
        person=person,
        known=known,
        form=form,
        names=list(HEALTH),
    )
