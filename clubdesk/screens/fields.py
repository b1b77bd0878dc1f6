"""Fields that forms of every room share: days, rows picked, a reason; and forms that are only a day and a reason."""

import uuid
from datetime import date
from typing import Any, ClassVar, Generic, TypeVar

from django import forms
from django.contrib import admin
from django.contrib.admin.widgets import AutocompleteSelect
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from clubdesk import clock
from clubdesk.screens.rows import Rows

Target = TypeVar("Target")
Row = TypeVar("Row", bound=models.Model)
Cleaned = dict[str, Any]
"""What a form makes of what was typed, by the names of its fields."""


def say_what_to_do() -> None:
    """Let every form say of what was left out what is to be done, in place of “This field is required”."""
    forms.Field.default_error_messages["required"] = "Fill this in."
    forms.ChoiceField.default_error_messages["required"] = "Choose one."
    forms.FileField.default_error_messages["required"] = "Choose a file."
    forms.DateField.default_error_messages["required"] = "Give the day."


class DateInput(forms.DateInput):
    """The phone's or browser's own date picker."""

    input_type = "date"

    def __init__(self, attrs: dict[str, Any] | None = None):
        super().__init__(attrs, format="%Y-%m-%d")


class TimeInput(forms.TimeInput):
    """The phone's or browser's own picker of a time of day."""

    input_type = "time"

    def __init__(self, attrs: dict[str, Any] | None = None):
        super().__init__(attrs, format="%H:%M")


class DayField(forms.DateField):
    """A date typed or picked, within living memory; starts at today."""

    widget = DateInput
    default_validators = [
        MinValueValidator(date(1990, 1, 1), "That is too long ago; check the year."),
        MaxValueValidator(date(2099, 12, 31), "That is too far ahead; check the year."),
    ]

    def __init__(self, **kwargs: Any):
        kwargs.setdefault("initial", clock.today)
        super().__init__(**kwargs)


class HappenedField(DayField):
    """The day on which something has happened: today or before."""

    def clean(self, value: Any) -> Any:
        day = super().clean(value)
        if day and day > clock.today():
            raise forms.ValidationError("That day has not come yet; write down when it happened.")
        return day


class SpanForm(forms.Form):
    """From which day to which the figures are."""

    since = DayField(label="From", initial=None)
    until = DayField(label="To", initial=None)

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and until and since > until:
            self.add_error("until", "The last day is before the first.")
        return cleaned


class PickWidget(AutocompleteSelect):
    """Django's own finder, which trusts that what comes back is a number; anything else it now leaves to the field."""

    def optgroups(self, name: str, value: Any, attr: Any = None) -> Any:
        return super().optgroups(
            name, [pk for pk in value if str(pk).isascii() and str(pk).isdigit() and len(str(pk)) < 19], attr
        )


class PickField(forms.ModelChoiceField[Any]):
    """One row picked by typing a few letters; `through` names any foreign key to the model, which Django asks for."""

    def __init__(self, model: type[models.Model], through: tuple[type[models.Model], str], **kwargs: Any):
        source, name = through
        kwargs["widget"] = PickWidget(source._meta.get_field(name), admin.site, attrs={"data-width": "100%"})
        super().__init__(queryset=model._default_manager.all(), **kwargs)


class PickMany(forms.ModelMultipleChoiceField[Any]):
    """Rows ticked in a list; a number that no row can have is an unknown choice like any other."""

    widget = forms.CheckboxSelectMultiple

    def _check_values(self, value: Any) -> Any:
        try:
            return super()._check_values(value)  # type: ignore[misc]
        except OverflowError:
            raise forms.ValidationError("Choose from the list.") from None


def choose_from(form: forms.BaseForm, name: str, rows: "models.QuerySet[Row]") -> "models.QuerySet[Row]":
    """Let the field `name` offer these rows; returns them."""
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = rows
    return rows


def reason_field(help_text: str = "In a few words.") -> forms.CharField:
    return forms.CharField(label="Reason", max_length=150, help_text=help_text)


class VerbForm(forms.Form, Generic[Target]):
    """The form of a verb; its key makes a second press of the button find the first one's result.

    A subclass fills what depends on `target`, the document shown, in `prepare`.
    """

    required_css_class = "required"
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    lines: "forms.BaseFormSet[forms.Form] | None" = None
    """A formset of lines that the form shows as a table below its fields."""
    rows: Rows | None = None
    """Rows that the form shows below its fields, of which one more can be added; a subclass makes them in `prepare`."""
    rows_class: ClassVar[type[Rows] | None] = None
    rows_first: ClassVar[bool] = False
    gives: ClassVar[tuple[str, ...]] = ()
    """The verb's parameters that it makes of more than a field, such as its lines."""

    def __init__(self, *args: Any, target: Target, **kwargs: Any):
        self.target = target
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.prepare()

    @property
    def media(self) -> forms.Media:
        own: forms.Media = super().media
        return own + self.rows.empty_form.media if self.rows is not None else own

    def prepare(self) -> None:
        """Choices and starting values that depend on the target."""


def form_of(**fields: forms.Field) -> type[VerbForm[Any]]:
    """The form of a verb that asks for just these fields, in their order."""
    return type("Form", (VerbForm,), fields)


def day_form(label: str = "On") -> type[VerbForm[Any]]:
    """A form that asks only when it happened."""
    return form_of(on=HappenedField(label=label))


def day_and_reason(label: str = "On", help_text: str = "In a few words.") -> type[VerbForm[Any]]:
    """A form that asks when it happened and why."""
    return form_of(on=HappenedField(label=label), reason=reason_field(help_text))
