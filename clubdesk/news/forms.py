"""The form in which somebody writes to many, and the list of families that a bulk action hands to it."""

import re
import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.mail.fields import refuse_unknown
from clubdesk.news import selectors
from clubdesk.news.letters import FIELDS
from clubdesk.news.models import Concern
from clubdesk.news.selectors import To
from clubdesk.roll.selectors import people_of_families
from clubdesk.screens.fields import Cleaned

ID = r"[0-9]{1,18}"
ALL_OF_IT = re.compile(rf"({ID}:({ID}(\.{ID})*)?( |$))*")
CHOSEN = "chosen"
"""The value of the choice that means the families of a list, which the page carries along."""


def packed(pairs: Iterable[tuple[int, int]]) -> str:
    """Families and their people as a page carries them: “12:34.35 13:” for pairs of ids; 0 for nobody of a family."""
    families = people_of_families(pairs)
    return " ".join(f"{home}:{'.'.join(str(pk) for pk in people if pk)}" for home, people in families.items())


def unpacked(text: str) -> Mapping[int, Sequence[int]]:
    """The same read again. Raises Refused for what is none."""
    if not ALL_OF_IT.fullmatch(text):
        raise Refused("The list of families did not come through whole; choose them again.")
    parts = (part.split(":") for part in text.split())
    return {int(home): [int(pk) for pk in people.split(".") if pk] for home, people in parts}


def in_words(families: Mapping[int, Sequence[int]]) -> str:
    return f"The {len(families)} families" if len(families) != 1 else "The one family"


class WriteForm(forms.Form):
    """To whom, what about, and the text; `to_whom` says in words and ids whom that means once it is valid."""

    required_css_class = "required"
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    families = forms.CharField(widget=forms.HiddenInput, required=False)
    to = forms.ChoiceField(label="To", error_messages={"required": "Choose whom to write to."})
    concern = forms.ChoiceField(
        label="This is",
        choices=Concern.choices,
        widget=forms.RadioSelect,
        initial=Concern.NEWS,
        help_text="News goes to nobody who has ended it. A day that is off is their own matter; a fair is news.",
    )
    subject = forms.CharField(max_length=120)
    text = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 10}),
        max_length=4000,
        help_text=f"A blank line begins a new paragraph. {', '.join(f'{{{name}}}' for name in FIELDS)} are filled in "
        "for each family. Greeting, link and the club’s name are added.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.to_whom = To("", {})
        given = self.data.get("families") if self.is_bound else self.initial.get("families")
        field = self.fields["to"]
        assert isinstance(field, forms.ChoiceField)
        nobody = [("", "Choose whom to write to")]
        field.choices = [*nobody, *self._chosen(str(given or "")), *selectors.choices(clock.today())]

    def _chosen(self, given: str) -> list[tuple[str, str]]:
        try:
            families = unpacked(given)
        except Refused:
            return []
        return [(CHOSEN, f"{in_words(families)} that you chose")] if families else []

    def clean_subject(self) -> str:
        return self._known("subject")

    def clean_text(self) -> str:
        return self._known("text")

    def _known(self, name: str) -> str:
        typed = str(self.cleaned_data[name])
        refuse_unknown(typed, FIELDS)
        return typed

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        if "to" in cleaned:
            families = str(cleaned.get("families") or "")
            if cleaned["to"] == CHOSEN:
                ids = unpacked(families)
                self.to_whom = To(f"{in_words(ids)} of a list", ids)
            else:
                self.to_whom = selectors.named(cleaned["to"], clock.today())
        return cleaned
