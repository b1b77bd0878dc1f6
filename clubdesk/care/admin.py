"""Screens of this room: what a person's page shows of it, the words that families agree to, and who looked."""

from django import forms
from django.contrib import admin
from django.http import HttpRequest
from django.urls import reverse

from clubdesk.care import selectors, services
from clubdesk.care.forms import contact_fields, contacts_of, contacts_shown
from clubdesk.care.models import DEFAULTS, OF_EACH, AgreementText, Kind, Look
from clubdesk.clock import day_text
from clubdesk.roll.models import Person
from clubdesk.screens.fields import Cleaned, VerbForm, form_of
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Link, Section
from clubdesk.screens.verbs import VerbPage
from clubdesk.verbs import may, verb_of


class ContactsForm(VerbForm[Person]):
    gives = ("ring", "collect")

    def prepare(self) -> None:
        fields = contact_fields()
        for name, field in fields.items():
            kind, number, part = name.split("_")
            whom = "To ring" if kind == "ring" else "May collect"
            field.label = f"{whom}, {number}: {'name' if part == 'name' else 'phone' if part == 'phone' else 'who'}"
        self.fields.update(fields)
        self.initial = {**contacts_shown(selectors.known(self.target)), **(self.initial or {})}

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        return {
            "key": cleaned.get("key"),
            "ring": contacts_of(cleaned, "ring"),
            "collect": contacts_of(cleaned, "collect"),
        }


class ContactsPage(VerbPage[Person, Person]):
    slug = "contacts"
    verb = services.name_contacts
    target = "person"
    intro = "Without a name here the family’s guardians are rung. Up to two to ring, the first before the second."
    form_class = ContactsForm
    lands_on_target = True

    def applies(self, target: Person) -> bool:
        return target.erased_on is None

    def done(self, target: Person, result: Person) -> str:
        return f"Whom to ring for {target}, and who may collect, is written down."


class AgreePage(VerbPage[Person, Person]):
    slug = "agree"
    verb = services.agree
    target = "person"
    intro = "What was said before stays written; the newest counts. Families say it themselves on their own page."
    form_class = form_of(
        kind=forms.ChoiceField(label="What of", choices=[(each.value, each.label) for each in OF_EACH]),
        given=forms.TypedChoiceField(
            label="Said", choices=[("yes", "Agrees"), ("no", "Does not agree, or not any more")],
            coerce=lambda said: said == "yes",
        ),
        said_by=forms.CharField(label="Who said so", max_length=100),
    )  # fmt: skip
    lands_on_target = True

    def applies(self, target: Person) -> bool:
        return target.erased_on is None

    def done(self, target: Person, result: Person) -> str:
        return f"What was said for {target} is written down."


def care_section(request: HttpRequest, person: Person) -> Section | None:
    """Whom to ring, who may collect, what was agreed to, and whether there is a health note."""
    if person.erased_on or not may(request.user, "care.view_persontoring"):
        return None
    known = selectors.known(person)
    ring = "Guardian to ring" if known.are_guardians else "To ring"
    rows: list[tuple[object, ...]] = [
        (
            f"{ring}, {number}",
            f"{each.name}{f', {each.who}' if each.who and not known.are_guardians else ''}",
            _unbroken(each.phone),
        )
        for number, each in enumerate(known.ring, 1)
    ]
    rows += [("May collect", each.name, _unbroken(each.phone)) for each in known.collect]
    rows += [(each.kind.label, each.words, "") for each in known.agreements]
    if may(request.user, verb_of(services.look).permission):
        note = known.health
        words = f"there is one, of {day_text(note.said_at)}, said by {note.said_by}" if note else "none"
        url = reverse("admin:care_health", args=[person.pk])
        rows.append(("Health note", words, Link("Open it (this is noted)" if note else "Write one", url)))
    note_said = "" if known.ring else "Nobody can be rung: name somebody, or write a guardian’s phone."
    return Section("Whom to ring, what to know", ["What", "", ""], rows, note=note_said)


def _unbroken(phone: str) -> str:
    return phone.replace(" ", "\N{NO-BREAK SPACE}")


class WriteTextPage(VerbPage[None, AgreementText]):
    verb = services.write_text
    intro = (
        "Say truthfully who gets what. The words become a new version; what families said to the words before "
        "counts on, unless they are asked anew."
    )
    button = "Use these words from now on"
    form_class = form_of(
        kind=forms.ChoiceField(label="What of", choices=Kind.choices),
        text=forms.CharField(
            label="What families agree to", max_length=3000, widget=forms.Textarea({"rows": 8})
        ),
        asks_anew=forms.BooleanField(
            label="Ask all families anew", required=False,
            help_text="Until they answer, nobody has agreed: no photos are taken, as far as photos are asked for.",
        ),
    )  # fmt: skip

    def facts(self, target: None) -> list[tuple[str, object]]:
        return [(kind.label, selectors.newest(kind).text) for kind in DEFAULTS]

    def done(self, target: None, result: AgreementText) -> str:
        return f"{result} counts from now on."


@admin.register(AgreementText)
class AgreementTextAdmin(DocumentAdmin[AgreementText]):
    list_display = ("kind", "version", "written_on", "asks_anew")
    fields = ("kind", "version", "text", "written_on", "asks_anew")
    readonly_fields = fields
    list_filter = ("kind",)
    add_page = WriteTextPage()


@admin.register(Look)
class LookAdmin(DocumentAdmin[Look]):
    list_display = ("person", "looked_by", "looked_at", "where")
    list_select_related = ("person", "looked_by")
    search_fields = ("person__given_name", "person__family_name", "looked_by__username")
    search_help_text = "A name, or a sign-in"
    date_hierarchy = None
    fields = ("person", "looked_by", "looked_at", "where")
    readonly_fields = fields

    @admin.display(description="Where")
    def where(self, look: Look) -> str:
        return f"at the range, {day_text(look.day)}" if look.day else "at a desk"
