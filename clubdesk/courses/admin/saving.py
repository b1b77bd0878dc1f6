"""Saving a cohort may offer places and write to families: its form says so first, and asks."""

import copy
from collections.abc import Iterable
from hashlib import sha256

from django import forms
from django.contrib.auth.models import User
from django.utils.html import format_html, format_html_join

from clubdesk import clock
from clubdesk.courses import services, telling
from clubdesk.courses.models import Cohort
from clubdesk.courses.services import SavedCohort
from clubdesk.mail.fields import refuse_unknown
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.screens.promises import NOT_NOW, Did, foretold
from clubdesk.verbs import shell_user

SEEN = "seen"


def tell_fields(letter: str, names: Iterable[str], more: str) -> tuple[forms.BooleanField, forms.CharField]:
    """The tick that families are told, and the letter as it is written already."""
    fields = ", ".join(f"{{{name}}}" for name in names)
    return (
        forms.BooleanField(label="Tell the families by mail, each by one letter", required=False, initial=True),
        forms.CharField(
            label="The letter begins",
            required=False,
            initial=letter,
            max_length=2000,
            widget=forms.Textarea(attrs={"rows": 4}),
            help_text=f"{fields} are filled in. {more}",
        ),
    )


class CohortForm(forms.ModelForm[Cohort]):
    """A cohort, and what its families are told where its days change.

    The first press says what saving would send; the second one, with the same in the form, saves it.
    """

    tell_them, letter = tell_fields(
        telling.OTHER_DAYS, telling.OF_DAYS, "Until when they may leave, and how they stand, follows for each family."
    )
    asks: str = ""

    def clean_letter(self) -> str:
        text = str(self.cleaned_data["letter"])
        refuse_unknown(text, telling.OF_DAYS)
        return text

    def save_as(self, cohort: Cohort, by: User) -> SavedCohort:
        """Save the cohort and tell its families as the form says, where it asks."""
        told = {name: self.cleaned_data[name] for name in ("tell_them", "letter") if name in self.fields}
        return services.save_cohort(cohort=cohort, on=clock.today(), by=by, **told)

    def full_clean(self) -> None:
        super().full_clean()
        if not self.is_bound or self.errors or self.data.get(SEEN) == self._digest():
            return
        told = foretold(self._saved, sends)
        if told and told[0][0] != NOT_NOW:
            lines = format_html_join("", "<li>{}: {}</li>", told)
            seen = format_html('<input type="hidden" name="{}" value="{}">', SEEN, self._digest())
            said = "Nothing is saved yet. Saving this does the following; press the button again if it is right."
            self.asks = format_html('<p>{}</p><ul class="moved">{}</ul>{}', said, lines, seen)
            self.add_error(None, said)

    def _saved(self) -> SavedCohort:
        return self.save_as(copy.deepcopy(self.instance), shell_user())

    def _digest(self) -> str:
        typed = sorted((name, str(value)) for name, value in self.cleaned_data.items())
        return sha256(repr((self.instance.pk, typed)).encode()).hexdigest()[:20]


def sends(did: Did[SavedCohort]) -> Iterable[tuple[str, object]]:
    """Whom saving offers places and to whom letters go; nothing where nobody hears of it."""
    if offered := did.result.offered:
        who = ", ".join(str(booking.household) for booking in offered)
        yield "Places offered", f"{did.result.seats} to {who}"
    if letters := did.rows(Message):
        yield "Letters", reached_in_words(letters)
