"""Who is on the roll already, pointed out on each form that would put somebody on it."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from hashlib import sha256
from typing import Generic, TypeVar

from django import forms
from django.db import models
from django.forms import BaseInlineFormSet
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from clubdesk.clock import day_text
from clubdesk.roll import selectors
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.screens.tables import page_of

SOMEBODY_ELSE = "somebody_else"
Known = Person | Guardian
Row = TypeVar("Row", bound=models.Model)


def page_of_family(known: Known) -> str:
    """Where one goes on with somebody who is known: the person's own page, or the guardian's family."""
    return page_of(known if isinstance(known, Person) else known.household)


def in_words(known: Known) -> str:
    """Who that is: “Ada Quoll, born 9 Mar 2014, of the Quoll family”."""
    if isinstance(known, Person):
        return f"{known}, born {day_text(known.birth_date)}, of {known.household}"
    reached = ", ".join(filter(None, (known.email, known.phone)))
    return f"{known} ({reached}), guardian of {known.household}"


def pointed_out(
    found: Sequence[Known], sent: Mapping[str, object], *, name: str = SOMEBODY_ELSE, use: Callable[[Known], str]
) -> SafeString | None:
    """What a form says of those who are known, each with where to use them, and a tick that it is somebody else.

    None where nobody is known, or that was ticked for just these.
    """
    these = sha256(repr([(type(each).__name__, each.pk) for each in found]).encode()).hexdigest()[:12]
    if not found or sent.get(name) == these:
        return None
    line = "{} is on the roll already: <a href='{}'>use this one</a>.<br>"
    lines = format_html_join("", line, ((in_words(each), use(each)) for each in found))
    tick = "<label><input type='checkbox' name='{}' value='{}'> It is somebody else</label>"
    return format_html("{}{}", lines, format_html(tick, name, these))


def born_as(people: Iterable[tuple[str, str, date | None]], besides: int = 0) -> list[Known]:
    """Those of the roll with the name and the day of birth of one of these."""
    asked = ((given, family, born) for given, family, born in people if given and family and born)
    return [found for given, family, born in asked for found in selectors.born_as(given, family, born, besides)]


class PointsOut(BaseInlineFormSet[Row, Household, forms.ModelForm[Row]], Generic[Row]):
    """The lines of a family's form; whoever is new there and known elsewhere is pointed out."""

    def known(self, lines: Sequence[Mapping[str, object]]) -> list[Known]:
        raise NotImplementedError

    def clean(self) -> None:
        super().clean()
        new = [form.cleaned_data for form in self.forms if form.has_changed() and not form.errors and self._asks(form)]
        said = pointed_out(self.known(new), self.data, name=f"{self.prefix}-{SOMEBODY_ELSE}", use=page_of_family)
        if said:
            raise forms.ValidationError(said)

    def _asks(self, form: forms.ModelForm[Row]) -> bool:
        return form.instance.pk is None


class PeoplePointedOut(PointsOut[Person]):
    def known(self, lines: Sequence[Mapping[str, object]]) -> list[Known]:
        named = [(line.get("given_name"), line.get("family_name"), line.get("birth_date")) for line in lines]
        return born_as(named)  # type: ignore[arg-type]  # cleaned by the fields of a person


class GuardiansPointedOut(PointsOut[Guardian]):
    def known(self, lines: Sequence[Mapping[str, object]]) -> list[Known]:
        found: dict[int, Known] = {}
        for line in lines:
            email, phone = (str(line.get(name) or "") for name in ("email", "phone"))
            found |= {each.pk: each for each in selectors.reached_by(email, phone, self.instance.pk or 0)}
        return list(found.values())

    def _asks(self, form: forms.ModelForm[Guardian]) -> bool:
        return form.instance.pk is None or bool({"email", "phone"} & set(form.changed_data))


class PersonForm(forms.ModelForm[Person]):
    """One person's own form."""

    def clean(self) -> dict[str, object]:
        cleaned: dict[str, object] = super().clean() or {}
        if self.instance.pk is None and not self.errors:
            named = (cleaned.get("given_name"), cleaned.get("family_name"), cleaned.get("birth_date"))
            if said := pointed_out(born_as([named]), self.data, use=page_of_family):
                raise forms.ValidationError(said)
        return cleaned
