"""Who of a family is renewed, and with which vouchers."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from clubdesk import clock
from clubdesk.fees.models import VoucherScheme
from clubdesk.membership import selectors, services
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import Cleaned, DateInput, HappenedField, PickMany, VerbForm, choose_from
from clubdesk.screens.rows import Rows, rows_of


class VoucherRow(forms.Form):
    person = forms.ModelChoiceField(Person.objects.none(), label="Whose")
    scheme = forms.ModelChoiceField(VoucherScheme.objects.all(), label="Sport voucher of")
    code = forms.CharField(label="Its code, or the number of the child", max_length=30)
    birth_date = forms.DateField(
        label="Date of birth on it", widget=DateInput, help_text="It is compared with the roll and not kept."
    )
    issued_on = HappenedField(
        label="Issued on", required=False, initial=None, help_text="Where vouchers of the scheme lapse."
    )

    def __init__(self, *args: Any, whose: QuerySet[Person] | None = None, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        choose_from(self, "person", Person.objects.none() if whose is None else whose)


class VoucherRows(Rows):
    one, another, carries = "Voucher", "Add another voucher", ("scheme",)


class RenewForm(VerbForm[Household]):
    rows_class = rows_of(VoucherRow, VoucherRows, most=6)
    gives = ("vouchers",)
    people = PickMany(
        Person.objects.none(), label="Who is renewed", error_messages={"required": "Tick who is renewed."}
    )

    def prepare(self) -> None:
        priced = {
            line.membership.person_id: f"{line.membership.person}: {line.quote.price.working}"
            for each in selectors.renewals(clock.today(), self.target)
            for line in each.lines
            if line.quote
        }
        field = self.fields["people"]
        assert isinstance(field, PickMany)
        field.queryset = Person.objects.filter(pk__in=priced)
        field.choices = list(priced.items())
        field.initial = list(priced)
        assert self.rows_class is not None
        data = self.data if self.is_bound else None
        self.rows = self.rows_class(data, prefix="voucher", form_kwargs={"whose": field.queryset})

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        if self.rows is None or not self.rows.is_valid():
            raise forms.ValidationError("Look at the vouchers below: one of them needs something.")
        return {**cleaned, "vouchers": [services.VoucherOf(**each) for each in self.rows.filled()]}
