"""Rows of a form of which one more can be added: as many as somebody needs, without leaving the place on the page.

Without a script the button comes back with the page, one empty row more and all that was typed (`grown`, `left_alone`);
`desk/rows.js` adds the row in place.
"""

from collections.abc import Iterator
from typing import Any, ClassVar, cast

from django import forms
from django.forms.utils import ErrorDict, ErrorList
from django.http import QueryDict

MORE = "more"


class Rows(forms.BaseFormSet[forms.Form]):
    """Subclasses say what one row is called, what the button says, and which fields begin as in the row above."""

    one: ClassVar[str] = "Person"
    another: ClassVar[str] = "Add another"
    carries: ClassVar[tuple[str, ...]] = ()

    @property
    def may_grow(self) -> bool:
        return len(self.forms) < self.max_num

    @property
    def next_number(self) -> int:
        return len(self.forms) + 1

    @property
    def next_prefix(self) -> str:
        return f"{self.prefix}-{len(self.forms)}"

    def filled(self) -> Iterator[dict[str, Any]]:
        """What was typed in each row that is not empty."""
        return (form.cleaned_data for form in self.forms if form.has_changed() and form.cleaned_data)


def rows_of(row: type[forms.Form], made_of: type[Rows], *, most: int, least: int = 0) -> type[Rows]:
    """The rows of a form, of which so many are filled in; one stands there from the beginning where none need be."""
    made = forms.formset_factory(
        row, formset=made_of, extra=0 if least else 1, min_num=least, max_num=most, absolute_max=most,
        validate_max=True, validate_min=least > 0,
    )  # fmt: skip
    return cast(type[Rows], made)


def grown(data: QueryDict, rows: type[Rows]) -> QueryDict:
    """What was typed, with one row more of those that the button names."""
    more, prefix = data.copy(), data.get(MORE, "")
    name = f"{prefix}-TOTAL_FORMS"
    asked = data.get(name, "")
    count = int(asked) if asked in map(str, range(1, rows.max_num + 1)) else 1
    more[name] = str(min(count + 1, rows.max_num))
    for field in rows.carries:
        more.setdefault(f"{prefix}-{count}-{field}", data.get(f"{prefix}-{count - 1}-{field}", ""))
    return more


def left_alone(form: forms.BaseForm, rows: Rows) -> None:
    """Show what was typed so far without saying yet what is missing."""
    form._errors, rows._non_form_errors = ErrorDict(), ErrorList()  # type: ignore[attr-defined]
    rows._errors = [ErrorDict() for _ in rows.forms]  # type: ignore[attr-defined]
    for each in rows.forms:
        each._errors = ErrorDict()  # type: ignore[attr-defined]
