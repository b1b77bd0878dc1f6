"""Forms of the ledger."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, cast

from django import forms
from django.db.models import QuerySet
from django.forms.models import ModelChoiceIterator

from clubdesk.evidence import EvidenceField
from clubdesk.ledger.models import YEARLY_KINDS, Account, FinancialYear, Fund, FundRole, Kind, Party, PartyKind, Role
from clubdesk.ledger.posting import Line, what_is_left
from clubdesk.ledger.services import HAVE_OWN_DOCUMENTS
from clubdesk.money import AmountFormField, nil
from clubdesk.screens.fields import Cleaned, DayField, HappenedField, VerbForm

MOST_LINES = 200


def accounts_by_hand() -> QuerySet[Account]:
    """Accounts that a journal may touch; what families owe and are owed is kept by its own documents."""
    return Account.objects.exclude(role__in=HAVE_OWN_DOCUMENTS)


def accounts_to_open() -> QuerySet[Account]:
    """Those of them that a book can begin with: income and expense are counted from the first day of a year, and what
    the club calls its own is worked out from the others.
    """
    return accounts_by_hand().exclude(kind__in=YEARLY_KINDS).exclude(role=Role.ACCUMULATED)


class LineForm(forms.Form):
    """One line of a journal; an empty one is left out. `may_be_blank` says that an account without an amount is too."""

    may_be_blank = False

    account = forms.ModelChoiceField(queryset=accounts_by_hand(), required=False)
    fund = forms.ModelChoiceField(queryset=Fund.objects.all(), required=False, empty_label=None)
    party = forms.ModelChoiceField(
        label="Who", queryset=Party.objects.exclude(kind=PartyKind.HOUSEHOLD), required=False, empty_label="–"
    )
    debit = AmountFormField(required=False)
    credit = AmountFormField(required=False)

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        account, debit, credit = (cleaned.get(name) for name in ("account", "debit", "credit"))
        if debit and credit:
            self.add_error("credit", "Fill one of both; the other has a line of its own.")
        if account and not (debit or credit or self.may_be_blank or self.errors):
            self.add_error("debit", "Write the amount on one side, or choose no account here.")
        if (debit or credit) and account is None and "account" not in self.errors:
            self.add_error("account", "Choose the account of this amount.")
        if account and (debit or credit) and account.needs_party and cleaned.get("party") is None:
            self.add_error("party", "Say who owes or is owed.")
        return cleaned

    def line(self) -> Line | None:
        cleaned = self.cleaned_data
        amount = (cleaned.get("debit") or nil()) - (cleaned.get("credit") or nil())
        if amount == nil():
            return None
        return Line(cleaned["account"], amount, cleaned.get("party"), cleaned.get("fund") or FundRole.GENERAL)


class Lines(forms.BaseFormSet[forms.Form]):
    """Lines of a form, such as those of a journal. The choices of accounts, funds, parties are read once for all."""

    legend = "Lines"
    sums = "sides"
    """What the page tells while it is filled in: whether both sides agree, what each fund has, or nothing."""

    def __init__(self, *args: Any, **kwargs: Any):
        self._choices: dict[str, list[Any]] = {}
        super().__init__(*args, **kwargs)

    def get_form_kwargs(self, index: int | None) -> dict[str, Any]:
        return {"empty_permitted": True, "use_required_attribute": False, **super().get_form_kwargs(index)}

    def _construct_form(self, i: int, **kwargs: Any) -> forms.Form:
        form: forms.Form = super()._construct_form(i, **kwargs)  # type: ignore[misc]  # not in the stubs
        form.label_suffix = ""
        for name, field in form.fields.items():
            if not isinstance(field, forms.ModelChoiceField):
                continue
            if name not in self._choices:
                self._choices[name] = list(cast(ModelChoiceIterator[Any], field.choices))
            field.widget.choices = self._choices[name]
        return form

    def typed(self) -> list[Line]:
        """The lines that were filled in."""
        return [line for form in self.forms if isinstance(form, LineForm) and (line := form.line())]


LineFormSet = cast(
    type[Lines],
    forms.formset_factory(LineForm, formset=Lines, extra=4, max_num=MOST_LINES, absolute_max=MOST_LINES),
)


class OneLine(forms.Form):
    """A line of a list that a verb is given: what it says, or None where it is empty and left out."""

    def line(self) -> object | None:
        raise NotImplementedError


def listed(form: type[OneLine], legend: str, *, extra: int, most: int) -> type[Lines]:
    """Lines of that form under a legend, so many empty ones beside those that stand there."""
    base = type("Listed", (Lines,), {"legend": legend, "sums": ""})
    return cast(type[Lines], forms.formset_factory(form, formset=base, extra=extra, max_num=most, absolute_max=most))


class ListForm(VerbForm[None]):
    """Lines, which the verb is given by the name in `gives`; an `example` stands in them to be changed."""

    made_of: ClassVar[type[Lines]]
    example: ClassVar[Sequence[Mapping[str, object]]] = ()

    def prepare(self) -> None:
        # What was left as it is counts as typed: once sent, nothing stands there beforehand.
        sent = self.data if self.is_bound else None
        self.lines = self.made_of(sent, prefix="line", initial=None if self.is_bound else self.example)

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        assert isinstance(self.lines, Lines)
        if not self.lines.is_valid():
            said = self.lines.non_form_errors() or ["Look at the lines below: one of them needs something."]
            self.add_error(None, list(said))
            return cleaned
        found = (form.line() for form in self.lines if isinstance(form, OneLine))
        cleaned[self.gives[0]] = [line for line in found if line is not None]
        return cleaned


class LinesForm(VerbForm[None]):
    """What a journal is for, and its lines, at least as many as `fewest`."""

    gives = ("lines",)
    made_of = LineFormSet
    fewest = 2
    too_few = "Write at least two lines, one on each side."
    narration = forms.CharField(max_length=300, help_text="What it is for, as an auditor should read it. No names.")
    evidence = EvidenceField(label="Document", required=False)

    def prepare(self) -> None:
        data = self.data if self.is_bound else None
        self.lines = self.made_of(data, initial=self.initial.get("lines"), prefix="line")

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        assert isinstance(self.lines, Lines)
        if not self.lines.is_valid():
            said = self.lines.non_form_errors() or ["Look at the lines below: one of them needs something."]
            self.add_error(None, list(said))
            return cleaned
        cleaned["lines"] = self.lines.typed()
        if len(cleaned["lines"]) < self.fewest:
            self.add_error(None, self.too_few)
        return cleaned


class JournalForm(LinesForm):
    """A journal as it is written by hand."""

    field_order = ("on", "narration", "reverse_on", "evidence")
    on = HappenedField(label="Date")
    reverse_on = DayField(
        label="Undo by itself on",
        required=False,
        initial=None,
        help_text="Leave blank, unless it is undone on a later day, such as the first of the next year.",
    )


class CorrectionForm(VerbForm[None]):
    """What a closed year got wrong, in one account."""

    year = forms.ModelChoiceField(queryset=FinancialYear.objects.exclude(closed_at=None), label="Which year")
    narration = forms.CharField(max_length=300, label="What was wrong", help_text="As an auditor should read it.")
    account = forms.ModelChoiceField(
        queryset=accounts_by_hand().exclude(kind=Kind.EQUITY), label="Account to put right"
    )
    is_debit = forms.TypedChoiceField(
        label="It is put right by a",
        choices=[
            ("yes", "debit: the club has more, or owes less, than its books say"),
            ("no", "credit: the club has less, or owes more, than its books say"),
        ],
        coerce=lambda text: text == "yes",
        widget=forms.RadioSelect,
    )
    amount = AmountFormField()
    fund = forms.ModelChoiceField(queryset=Fund.objects.all(), initial=FundRole.GENERAL.value, empty_label=None)
    party = forms.ModelChoiceField(
        label="Who", queryset=Party.objects.exclude(kind=PartyKind.HOUSEHOLD), required=False, empty_label="–"
    )
    on = HappenedField(label="Posted on")
    evidence = EvidenceField(label="Document")


class OpeningLineForm(LineForm):
    """What the club had, or owed, in one account the day before."""

    may_be_blank = True
    account = forms.ModelChoiceField(queryset=accounts_to_open(), required=False)
    debit = AmountFormField(label="Had", required=False)
    credit = AmountFormField(label="Owed, or worn off", required=False)


class OpeningLines(Lines):
    legend = "What the club had and owed"
    sums = "funds"


class OpeningForm(LinesForm):
    """What a book begins with. What is left of each fund is the club's own, and nobody need work it out."""

    made_of = cast(
        type[Lines],
        forms.formset_factory(
            OpeningLineForm, formset=OpeningLines, extra=3, max_num=MOST_LINES, absolute_max=MOST_LINES
        ),
    )
    fewest = 1
    too_few = "Write what the club had, in at least one account."
    narration = forms.CharField(max_length=300, help_text="Where the figures come from, as an auditor should read it.")

    def clean(self) -> Cleaned:
        cleaned = super().clean()
        lines = cleaned.get("lines", [])
        return {**cleaned, "lines": [*lines, *what_is_left(lines)]} if lines else cleaned
