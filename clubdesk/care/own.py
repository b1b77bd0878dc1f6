"""The family's own pages of this room: what is known of its children, that it is right, and what it says instead."""

from collections.abc import Sequence
from datetime import date

from django.db import OperationalError
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clubdesk import clock
from clubdesk.care import selectors, services
from clubdesk.care.forms import ChildForm
from clubdesk.clock import day_text, months_later
from clubdesk.errors import Refused
from clubdesk.families import Act, OfChild, Part, ToAnswer
from clubdesk.faults import sentence_of
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.views import family_page, for_family
from clubdesk.verbs import shell_user

TITLE = "Whom we ring, what we must know"


def of_family(home: Household, people: Sequence[Person], on: date) -> Part:
    """Whom we ring for each, whether there is a health note, and that it is time to look at all of it."""
    if not people:
        return Part()
    line = "Whom we ring, what helpers must know, who may collect. One button says that all of it is right."
    said_lately = home.confirmations.filter(confirmed_on__gt=months_later(on, -12)).exists()
    is_due = not said_lately and bool(selectors.to_confirm(on, home))
    asks = (ToAnswer("Is what we know still right?", line, None, page="care:own"),) if is_due else ()
    known = selectors.known_of(people)
    if any(each.is_anew for one in known for each in one.agreements):
        line = "What you said before counts no more. Read them, and answer again."
        asks = (*asks, ToAnswer("Words that you agreed to have changed", line, None, page="care:own"))
    lines = tuple(_line(each) for each in known)
    return Part(to_answer=asks, children=lines, acts=(Act("Whom to ring, what to know", page="care:own"),))


def _line(known: selectors.Known) -> OfChild:
    ring = selectors.in_words(known.ring)
    note = f"Health note of {day_text(known.health.said_at)}" if known.health else ""
    words = f"We ring {ring}" if ring else "We know nobody to ring"
    return OfChild(known.person.pk, words, note, page="care:child", arguments=(known.person.pk,))


def _people(home: Household) -> list[Person]:
    return list(home.people.filter(erased_on=None).order_by("birth_date", "pk"))


@for_family
def own(request: HttpRequest, guardian: Guardian) -> HttpResponseBase:
    """All that is known, a card for each of the family, and one button that says that it is right."""
    home, today = guardian.household, clock.today()
    refusal = ""
    if request.method == "POST":
        try:
            services.confirm_by_family(guardian=guardian, on=today, by=shell_user())
            return HttpResponseRedirect(reverse("care:own"))
        except (Refused, OperationalError) as error:
            refusal = sentence_of(error)
    last = home.confirmations.first()
    return family_page(
        request,
        "care/own.html",
        TITLE,
        status=422 if refusal else 200,
        refusal=refusal,
        people=selectors.known_of(_people(home)),
        guardians=home.guardians.all(),
        confirmed=last,
        is_right_today=last is not None and last.confirmed_on == today,
    )


@for_family
def own_child(request: HttpRequest, guardian: Guardian, pk: int) -> HttpResponseBase:
    """What a family says of one of its own; nobody else's number opens anything."""
    person = get_object_or_404(Person, household=guardian.household, pk=pk, erased_on=None)
    form = ChildForm(request.POST if request.method == "POST" else None, known=selectors.known(person))
    if request.method == "POST" and form.is_valid():
        try:
            services.keep_by_family(
                guardian=guardian, person=person, said=form.said(), on=clock.today(), by=shell_user()
            )
            return HttpResponseRedirect(reverse("care:own"))
        except (Refused, OperationalError) as refusal:
            form.add_error(None, sentence_of(refusal))
    status = 422 if form.errors else 200
    return family_page(request, "care/child.html", f"What we know of {person.given_name}", status=status, form=form)
