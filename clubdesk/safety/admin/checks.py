"""The checks of volunteers: what was seen, by whom and when."""

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.rangeday.selectors import name_of
from clubdesk.roll.models import Person
from clubdesk.safety import services
from clubdesk.safety.models import CheckKind, VolunteerCheck
from clubdesk.screens.fields import DayField, HappenedField, PickField, form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage
from clubdesk.verbs import may

LAW = (
    "The law of your place says who needs which check, how it is verified, and for how long it is good; in South"
    " Australia, as one example, the Child Safety (Prohibited Persons) Act 2016, sections 16 to 18. Look at the check"
    " itself, or ask the office that gave it; do not keep a copy here."
)


class WriteCheckPage(VerbPage[None, VolunteerCheck]):
    verb = services.write_check
    intro = f"{LAW} Nobody verifies a check of their own family."
    button = "I have seen it"
    form_class = form_of(
        person=PickField(Person, through=(VolunteerCheck, "person"), label="Whose"),
        kind=forms.ChoiceField(label="Which", choices=CheckKind.choices),
        number=forms.CharField(label="Number", max_length=40),
        expires_on=DayField(label="Good through", initial=None),
        on=HappenedField(label="Seen on"),
    )

    def done(self, target: None, result: VolunteerCheck) -> str:
        return f"Written down: {result}."


class EndCheckPage(VerbPage[VolunteerCheck, VolunteerCheck]):
    slug = "end"
    verb = services.end_check
    target = "check"
    intro = "It counts no more from that day on. The record of it stays."
    form_class = form_of(
        on=HappenedField(label="No longer good since"), reason=reason_field("Such as: revoked, or mistyped.")
    )

    def applies(self, target: VolunteerCheck) -> bool:
        return target.ended_on is None

    def facts(self, target: VolunteerCheck) -> Facts:
        return [("Whose", target.person), ("Which", target.get_kind_display()), ("Good through", target.expires_on)]

    def done(self, target: VolunteerCheck, result: VolunteerCheck) -> str:
        return f"{result}: no longer good."


def checks_section(request: HttpRequest, person: Person) -> Section | None:
    """On a person's page, the checks that were seen."""
    if not may(request.user, "safety.view_volunteercheck"):
        return None
    rows = [
        (link_to(row, row.get_kind_display()), standing_of(row), day_text(row.verified_on), name_of(row.recorded_by))
        for row in person.volunteer_checks.select_related("recorded_by")
    ]
    return Section("Checks as a volunteer", ["Which", "", "Seen on", "By"], rows) if rows else None


def standing_of(row: VolunteerCheck) -> str:
    """Whether it is good, in words."""
    if row.ended_on:
        return f"no longer good since {day_text(row.ended_on)}"
    if row.expires_on < clock.today():
        return f"lapsed on {day_text(row.expires_on)}"
    return f"good through {day_text(row.expires_on)}"


@admin.register(VolunteerCheck)
class VolunteerCheckAdmin(DocumentAdmin[VolunteerCheck]):
    list_display = ("person", "kind", "expires_on", "standing", "verified_on", "recorded_by")
    list_select_related = ("person", "recorded_by")
    list_filter = ("kind",)
    search_fields = ("person__given_name", "person__family_name")
    search_help_text = "A name"
    fields = (
        "person", "kind", "number", "expires_on", "standing", "verified_on", "recorded_by", "end_reason",
    )  # fmt: skip
    readonly_fields = fields
    add_page = WriteCheckPage()
    pages = (EndCheckPage(),)

    @admin.display(description="Standing")
    def standing(self, row: VolunteerCheck) -> str:
        return standing_of(row)
