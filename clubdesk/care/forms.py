"""Forms of what is known of somebody, for the family's page and for the desk alike."""

from collections.abc import Iterator, Sequence
from typing import Any

from django import forms

from clubdesk.care.models import OF_EACH
from clubdesk.care.selectors import Contact, Known, newest
from clubdesk.care.services import MOST_TO_COLLECT, MOST_TO_RING, Health, Said
from clubdesk.screens.fields import Cleaned

RING, COLLECT = range(1, MOST_TO_RING + 1), range(1, MOST_TO_COLLECT + 1)
HEALTH = {"allergy": "Allergies", "medication": "Medication", "needs": "What else a helper must know"}
YES_OR_NO = (("yes", "Yes, I agree"), ("no", "No"))


def _name(label: str) -> forms.CharField:
    return forms.CharField(label=label, max_length=100, required=False, widget=forms.TextInput({"autocomplete": "off"}))


def _phone() -> forms.CharField:
    widget = forms.TextInput({"type": "tel", "autocomplete": "off"})
    return forms.CharField(label="Phone", max_length=30, required=False, widget=widget)


def contact_fields() -> dict[str, forms.Field]:
    """Whom to ring, in order, and who may collect."""
    found: dict[str, forms.Field] = {}
    for number in RING:
        found[f"ring_{number}_name"] = _name("Name")
        found[f"ring_{number}_phone"] = _phone()
        found[f"ring_{number}_who"] = forms.CharField(label="Who they are to the child", max_length=40, required=False)
    for number in COLLECT:
        found[f"collect_{number}_name"] = _name("Name")
        found[f"collect_{number}_phone"] = _phone()
    return found


def contacts_shown(known: Known) -> dict[str, object]:
    """The starting values of those fields: what stands, but not the guardians who stand in."""
    ring = [] if known.are_guardians else known.ring
    found: dict[str, object] = {}
    for kind, rows in (("ring", ring), ("collect", known.collect)):
        for number, each in enumerate(rows, 1):
            told = {"name": each.name, "phone": each.phone, "who": each.who}
            found |= {f"{kind}_{number}_{part}": words for part, words in told.items()}
    return found


def contacts_of(cleaned: Cleaned, kind: str) -> list[Contact]:
    numbers = RING if kind == "ring" else COLLECT
    parts = [[cleaned.get(f"{kind}_{number}_{part}") or "" for part in ("name", "phone", "who")] for number in numbers]
    return [Contact(*each) for each in parts]


def health_fields() -> dict[str, forms.CharField]:
    widget = {"rows": 2}
    return {
        name: forms.CharField(label=label, max_length=200, required=False, widget=forms.Textarea(widget))
        for name, label in HEALTH.items()
    }


def health_shown(known: Known) -> dict[str, object]:
    return {name: getattr(known.health, name, "") for name in HEALTH}


class ChildForm(forms.Form):
    """All that a family says of one of its own."""

    def __init__(self, *args: Any, known: Known, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        kwargs["initial"] = {**contacts_shown(known), **health_shown(known), **self._agreed(known)}
        super().__init__(*args, **kwargs)
        self.known = known
        self.fields.update({**contact_fields(), **health_fields()})
        for kind in OF_EACH:
            self.fields[kind.value] = forms.ChoiceField(
                label=kind.label,
                choices=YES_OR_NO,
                required=False,
                widget=forms.RadioSelect,
                help_text=newest(kind).text,
            )

    @staticmethod
    def _agreed(known: Known) -> dict[str, object]:
        return {each.kind.value: "yes" if each.given else "no" for each in known.agreements if each.given is not None}

    def said(self) -> Said:
        """What was said, once it is valid."""
        cleaned = self.cleaned_data
        return Said(
            contacts_of(cleaned, "ring"),
            contacts_of(cleaned, "collect"),
            Health(*(cleaned[name] for name in HEALTH)),
            {kind: cleaned[kind.value] == "yes" for kind in OF_EACH if cleaned[kind.value]},
        )

    def ring(self) -> "Iterator[tuple[str, Sequence[forms.BoundField]]]":
        titles = {1: "First to ring", 2: "Second to ring"}
        for number in RING:
            yield titles[number], [self[f"ring_{number}_{part}"] for part in ("name", "phone", "who")]

    def collect(self) -> "Iterator[tuple[str, Sequence[forms.BoundField]]]":
        for number in COLLECT:
            yield f"May collect, {number}", [self[f"collect_{number}_{part}"] for part in ("name", "phone")]

    def health(self) -> Sequence[forms.BoundField]:
        return [self[name] for name in HEALTH]

    def agreements(self) -> Sequence[forms.BoundField]:
        return [self[kind.value] for kind in OF_EACH]
