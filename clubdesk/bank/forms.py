"""Forms of the bank's own pages."""

from datetime import date
from typing import Any

from django import forms

from clubdesk.bank.models import BankAccount
from clubdesk.bank.reading.delimited import DAYS_FIRST
from clubdesk.ledger.selectors import month_end
from clubdesk.money import AmountFormField
from clubdesk.screens.fields import Cleaned, DayField
from clubdesk.screens.pages import FileAgainField
from clubdesk.uploads import FileInput


class FileForm(forms.Form):
    bank_account = forms.ModelChoiceField(BankAccount.objects.all())
    file = forms.FileField(
        help_text="OFX, camt.053 or CSV, as the bank exports it.", allow_empty_file=True, widget=FileInput
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        accounts = BankAccount.objects.all()[:2]
        if len(accounts) == 1:
            self.fields["bank_account"].initial = accounts[0].pk


class ReadForm(forms.Form):
    """The file once more, as the preview read it."""

    bank_account = forms.ModelChoiceField(BankAccount.objects.all())
    content = FileAgainField()
    file_name = forms.CharField(max_length=200)
    key = forms.UUIDField()


class ColumnsForm(forms.Form):
    """Which column of a CSV file is what."""

    date = forms.TypedChoiceField(label="The date", coerce=int)
    dates = forms.ChoiceField(label="Dates are written", choices=[(way, way) for way in DAYS_FIRST])
    text = forms.TypedMultipleChoiceField(label="The words", coerce=int, widget=forms.CheckboxSelectMultiple)
    amount = forms.TypedChoiceField(label="The amount", coerce=int, required=False, empty_value=None)
    debit = forms.TypedChoiceField(label="or money out", coerce=int, required=False, empty_value=None)
    credit = forms.TypedChoiceField(label="and money in", coerce=int, required=False, empty_value=None)
    balance = forms.TypedChoiceField(label="The balance", coerce=int, required=False, empty_value=None)
    decimal = forms.ChoiceField(label="Before the cents", choices=[(".", "a point"), (",", "a comma")])
    skip = forms.IntegerField(label="Rows above the first line", min_value=0, max_value=50)

    def __init__(self, *args: Any, columns: list[str], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        choices = list(enumerate(columns))
        for name in ("date", "text", "amount", "debit", "credit", "balance"):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = choices if name in ("date", "text") else [("", "none"), *choices]

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        if cleaned.get("amount") is None and cleaned.get("debit") is None and cleaned.get("credit") is None:
            raise forms.ValidationError("Say which column is the amount, or which are money out and money in.")
        return cleaned


class MonthForm(forms.Form):
    account = forms.ModelChoiceField(BankAccount.objects.all(), label="Bank account")
    until = DayField(label="Month (any day of it)", initial=None)
    balance = AmountFormField(label="The bank’s closing balance", min_value=None)

    def clean_until(self) -> date:
        return month_end(self.cleaned_data["until"])
