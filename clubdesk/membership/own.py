"""The family's own pages of this room: what stands of memberships, and asking to leave."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django import forms
from django.db import OperationalError
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.dates import Dated
from clubdesk.errors import Refused
from clubdesk.families import Act, OfChild, Part
from clubdesk.faults import sentence_of
from clubdesk.membership import services
from clubdesk.membership.models import LeaveRequest, LeaveState, Membership
from clubdesk.membership.selectors import STANDING, Renewing, fees_to_come, renewals, renewing_state
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.views import family_page, for_family
from clubdesk.screens.fields import PickMany
from clubdesk.verbs import shell_user


def of_family(home: Household, people: Sequence[Person], on: date) -> Part:
    """Until when each is a member, who asked to leave, and what it costs to renew now."""
    held: dict[int, list[Membership]] = {person.pk: [] for person in people}
    for row in Membership.objects.filter(STANDING, person__in=people).select_related("plan").order_by("ends_on"):
        held[row.person_id].append(row)
    asked = dict(
        LeaveRequest.objects.filter(person__in=people, state=LeaveState.ASKED).values_list("person", "asked_on")
    )
    lines = [_line(pk, rows, asked.get(pk), on) for pk, rows in held.items()]
    can_renew = any(rows and renewing_state(rows[-1], on) in (Renewing.DUE, Renewing.GRACE) for rows in held.values())
    return Part(
        children=tuple(lines),
        acts=(Act("Ask to leave", is_quiet=True, page="leaving:own"),) if people else (),
        to_come=tuple(fees_to_come(renewals(on, home, people))) if can_renew else (),
    )


def dates_of(home: Household, people: Sequence[Person], first: date, last: date) -> Iterator[Dated]:
    """Until when each is a member, where no later membership follows."""
    until: dict[int, Membership] = {}
    for row in Membership.objects.filter(STANDING, person__in=people).order_by("ends_on"):
        until[row.person_id] = row
    by_pk = {person.pk: person for person in people}
    for pk, row in until.items():
        if first <= row.ends_on <= last:
            title = f"{by_pk[pk].given_name}’s membership ends"
            yield Dated(f"membership {row.pk}", "membership", title, row.ends_on, row.ends_on)


def _line(person: int, rows: Sequence[Membership], asked: date | None, on: date) -> OfChild:
    """Where the memberships of one, the earliest first, stand."""
    note = f"You asked on {day_text(asked)} to leave; we will write to you." if asked else ""
    now = next((row for row in rows if row.covers(on)), None)
    later = next((row for row in rows if row.starts_on > on), None)
    if now:
        more = f"Then again to {long_day(later.ends_on)}." if later else ""
        return OfChild(person, f"Member until {long_day(now.ends_on)}", note or more or str(now.plan), is_good=True)
    if later:
        return OfChild(person, f"Member from {long_day(later.starts_on)} to {long_day(later.ends_on)}", note)
    if not rows:
        return OfChild(person, "Not a member", note)
    can_renew = not rows[-1].ended_on and renewing_state(rows[-1], on) != Renewing.LAPSED
    renew = "It can still be renewed: please tell us." if can_renew else ""
    return OfChild(person, f"Membership ended on {long_day(rows[-1].ends_on)}", note or renew)


class LeavingForm(forms.Form):
    """Who of the family leaves; the reason is for the family to give or not."""

    people = PickMany(Person.objects.none(), label="Who leaves?", error_messages={"required": "Tick who leaves."})
    reason = forms.CharField(label="Would you tell us why? (optional)", max_length=150, required=False)

    def __init__(self, *args: Any, home: Household, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        field = self.fields["people"]
        assert isinstance(field, PickMany)
        field.queryset = home.people.filter(erased_on=None)


@for_family
def own_leaving(request: HttpRequest, guardian: Guardian) -> HttpResponseBase:
    """A family asks to leave; who asked already reads so on its page."""
    home = guardian.household
    form = LeavingForm(request.POST or None, home=home)
    if request.method == "POST" and form.is_valid():
        try:
            services.ask_to_leave(household=home, on=clock.today(), by=shell_user(), **form.cleaned_data)
            return HttpResponseRedirect(reverse("account:own"))
        except (Refused, OperationalError) as refusal:
            form.add_error(None, sentence_of(refusal))
    status = 422 if form.errors else 200
    return family_page(request, "membership/leaving.html", "Leave the club", status=status, form=form)
