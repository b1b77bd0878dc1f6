"""Incidents and near misses: written by whoever saw them, seen by few."""

from django import forms
from django.contrib import admin
from django.http import HttpRequest
from django.urls import reverse

from clubdesk.clock import day_text
from clubdesk.rangeday.models import Kit
from clubdesk.rangeday.selectors import name_of
from clubdesk.roll.models import Person
from clubdesk.rooms import ERASED
from clubdesk.safety import selectors, services
from clubdesk.safety.models import Incident, IncidentKind, Involved
from clubdesk.screens.fields import HappenedField, PickField, TimeInput, form_of
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage
from clubdesk.verbs import may

LAW = (
    "Where a child may be at risk, the law of your place says whom to tell and how soon: tell them first, and where"
    " there is danger now, ring for help. This record does not replace that."
)
SOURCE = (
    "How long: as the club’s rules for a safe day say. The Royal Commission into Institutional Responses to Child"
    " Sexual Abuse (recommendation 8.1) asks for at least 45 years for records about child sexual abuse."
)


def who_fields() -> dict[str, forms.Field]:
    """Who or what was part of it."""
    return {
        "child": PickField(Person, through=(Involved, "person"), label="Child", required=False),
        "helper": PickField(Person, through=(Involved, "person"), label="Helper", required=False),
        "others": forms.CharField(
            label="Somebody else", max_length=120, required=False, help_text="By name, who is not on the roll."
        ),
        "piece": forms.ModelChoiceField(
            Kit.objects.all(), label="Piece of kit", required=False, empty_label="None",
            help_text="It is set aside at once, until somebody qualified has checked it.",
        ),
    }  # fmt: skip


class RecordPage(VerbPage[None, Incident]):
    verb = services.record_incident
    intro = (
        f"{LAW} Write what was seen and heard, not what it may mean. Few read this record; it is never deleted or"
        " changed, and notes are added to it."
    )
    button = "Record it"
    form_class = form_of(
        kind=forms.ChoiceField(
            label="It was", choices=IncidentKind.choices, widget=forms.RadioSelect, initial=IncidentKind.INCIDENT
        ),
        on=HappenedField(label="On"),
        happened_at=forms.TimeField(label="At", required=False, widget=TimeInput),
        place=forms.CharField(label="Where", max_length=100, help_text="Such as: the waiting line."),
        what=forms.CharField(label="What happened", max_length=3000, widget=forms.Textarea({"rows": 6})),
        **who_fields(),
        first_aid=forms.CharField(
            label="First aid given", max_length=300, required=False, help_text="What, and by whom; blank for none."
        ),
        at_risk=forms.BooleanField(
            label="A child may be at risk", required=False,
            help_text="The family’s own file then says nothing of it, and nobody is asked to tell a guardian.",
        ),
    )  # fmt: skip

    def done(self, target: None, result: Incident) -> str:
        pieces = [each.name for each in result.involved.filter(kit__isnull=False)]
        aside = f" {pieces[0]} is set aside." if pieces else ""
        return f"Recorded: {result}.{aside}"

    def destination(self, target: None, result: Incident) -> str:
        """Whoever wrote it down may not read it again."""
        sees = may(result.recorded_by, "safety.view_incident")
        return super().destination(target, result) if sees else reverse("admin:index")


class OfIncident(VerbPage[Incident, Incident]):
    """What the pages of a record share: its words have not gone."""

    target = "incident"

    def applies(self, target: Incident) -> bool:
        return target.what != ERASED

    def facts(self, target: Incident) -> Facts:
        return [("When", target.happened_on), ("Where", target.place)]

    def done(self, target: Incident, result: Incident) -> str:
        return "Added to the record."


class NotePage(OfIncident):
    slug = "note"
    verb = services.note_incident
    intro = LAW
    button = "Add the note"
    form_class = form_of(
        words=forms.CharField(
            label="What was done or found out", max_length=3000, widget=forms.Textarea({"rows": 5})
        ),
        on=HappenedField(label="On"),
    )  # fmt: skip


class AddWhoPage(OfIncident):
    slug = "add-who"
    verb = services.add_to_incident
    button = "Add"
    form_class = form_of(**who_fields())


class ToldPage(OfIncident):
    slug = "told"
    verb = services.note_guardian_told
    intro = LAW
    button = "Note it"
    form_class = form_of(
        told_whom=forms.CharField(
            label="Who was told, how, at what time", max_length=150, help_text="Such as: Ida Mirabar by phone, 10:40."
        ),
        on=HappenedField(label="On"),
    )

    def applies(self, target: Incident) -> bool:
        return super().applies(target) and target.told_on is None


def involved_section(request: HttpRequest, incident: Incident) -> Section:
    rows = [
        (each.get_part_display(), link_to(each.kit) if each.kit else each.name)
        for each in incident.involved.select_related("kit")
    ]
    return Section("Who and what was part of it", ["As", "Who or what"], rows, "Nobody is named.")


def notes_section(request: HttpRequest, incident: Incident) -> Section:
    rows = [
        (day_text(each.noted_on), each.words, name_of(each.recorded_by))
        for each in incident.notes.select_related("recorded_by")
    ]
    return Section("Notes since", ["On", "What was done or found out", "By"], rows)


def keeping_section(request: HttpRequest, incident: Incident) -> Section:
    """Until when the words are kept, and what the record does not replace."""
    until = day_text(selectors.kept_until(incident))
    return Section(f"Kept to {until}", ["What comes first, and why so long"], [(LAW,), (SOURCE,)])


@admin.register(Incident)
class IncidentAdmin(DocumentAdmin[Incident]):
    list_display = ("happened_on", "kind", "place", "told")
    list_filter = ("kind",)
    date_hierarchy = "happened_on"
    fields = (
        "kind", "happened_on", "happened_at", "place", "what", "first_aid", "risk", "told", "recorded_by",
        "recorded_at",
    )  # fmt: skip
    readonly_fields = fields
    add_page = RecordPage()
    pages = (NotePage(), ToldPage(), AddWhoPage())
    section_makers = (involved_section, notes_section, keeping_section)

    @admin.display(description="A child may be at risk")
    def risk(self, incident: Incident) -> str:
        return "yes" if incident.at_risk else "not that anybody said"

    @admin.display(description="Guardian told")
    def told(self, incident: Incident) -> str:
        if incident.told_on:
            return f"{day_text(incident.told_on)}: {incident.told_whom}"
        return "as the law says" if incident.at_risk else "not yet"
