"""Forms of the year's end."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import QuerySet
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.evidence import EvidenceField
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, JournalEntry, Kind, Role
from clubdesk.money import AmountFormField, as_amount, shown, total
from clubdesk.screens.fields import Cleaned, DayField, HappenedField, VerbForm, form_of
from clubdesk.yearend import found, selectors
from clubdesk.yearend.models import Equipment
from clubdesk.yearend.register import Register

NARRATION = "What it is for, as an auditor should read it. No names."


class AccountChoice(forms.ModelChoiceField[Account]):
    """One of the accounts that the question at hand allows, read when the form is shown."""

    def __init__(self, rows: Callable[[], QuerySet[Account]], **kwargs: Any):
        self.rows = rows
        super().__init__(queryset=Account.objects.none(), **kwargs)

    def __deepcopy__(self, memo: Any) -> "AccountChoice":
        field: AccountChoice = super().__deepcopy__(memo)
        field.queryset = self.rows()
        return field


def fund_field(rows: QuerySet[Fund]) -> forms.ModelChoiceField[Fund]:
    """One of the funds, the general fund unless said."""
    return forms.ModelChoiceField(queryset=rows, initial=FundRole.GENERAL.value, empty_label=None)


def unrestricted() -> QuerySet[Fund]:
    return Fund.objects.filter(restricted=False)


class AdjustmentForm(VerbForm[None]):
    """What every adjustment says: on which day, what it is, and its document."""

    on = HappenedField(label="Dated", help_text="Mostly the last day of a month or of the year.")
    narration = forms.CharField(max_length=300, help_text=NARRATION)
    evidence = EvidenceField(label="Document", required=False)


class UndoneForm(AdjustmentForm):
    """An adjustment that undoes itself."""

    expense = AccountChoice(selectors.expense_accounts, label="Expense account")
    amount = AmountFormField()
    fund = fund_field(Fund.objects.all())
    reverse_on = DayField(label="Undone on", initial=None, help_text="Mostly the first day of the next month or year.")
    field_order = ["expense", "amount", "fund", "on", "reverse_on", "narration", "evidence"]


class StockForm(AdjustmentForm):
    fund = fund_field(unrestricted())
    counted = AmountFormField(label="Worth of what lies in the store", help_text="At what it cost, as counted.")
    materials = AccountChoice(selectors.expense_accounts, label="Bought on the account")
    field_order = ["counted", "materials", "fund", "on", "narration", "evidence"]


class AllowanceForm(AdjustmentForm):
    """What families owe stands in the general fund, and so does what is not expected of it."""

    wanted = AmountFormField(
        label="Not expected to be paid", help_text="Of all that families owe. The debts themselves stay as they are."
    )
    field_order = ["wanted", "on", "narration", "evidence"]


MONTHS_BACK = 18


class DepreciationForm(VerbForm[None]):
    """Up to which month, with what would be posted."""

    until = forms.TypedChoiceField(label="Up to the end of", choices=[], coerce=date.fromisoformat)

    def prepare(self) -> None:
        field = self.fields["until"]
        assert isinstance(field, forms.ChoiceField)
        choices = [(day.isoformat(), f"{long_day(day)}: {shown(amount)}") for day, amount in _to_post()]
        field.choices = choices
        field.help_text = (
            "With what is posted by then, dated that day, or the first open day after it where its month is locked."
            if choices
            else "Nothing of the register is left to depreciate."
        )


def _to_post() -> list[tuple[date, Money]]:
    """The ends of the last months, newest first, each with what the register has lost by then and is not posted."""
    day, found = clock.today(), []
    known = Register.at(day)
    for _ in range(MONTHS_BACK):
        day = day.replace(day=1) - timedelta(days=1)
        behind = known.behind(day)
        amount = total(amount for _, amount in behind).amount
        if amount and not any(known.posted_later(thing, day) for thing, _ in behind):
            found.append((day, as_amount(amount)))
    return found


class EquipmentForm(VerbForm[None]):
    name = forms.CharField(label="What it is", max_length=120)
    bought_on = HappenedField(label="Bought on")
    cost = AmountFormField()
    years = forms.IntegerField(label="Years of use", min_value=1, max_value=50)
    residual = AmountFormField(label="Worth at the end", required=False)
    fund = fund_field(unrestricted())
    brought_in = AmountFormField(
        label="Depreciated before this book", required=False, help_text="As in the opening trial balance; else blank."
    )


WithdrawForm = form_of(reason=forms.CharField(label="What is wrong with it", max_length=150))


class DisposeForm(VerbForm[Equipment]):
    on = HappenedField(label="Gone on")
    reason = forms.CharField(label="What became of it", max_length=150)
    proceeds = AmountFormField(label="Money received for it", required=False)
    into = AccountChoice(
        lambda: Account.objects.filter(is_money=True), label="Where the money went", required=False, empty_label=None
    )


class BudgetForm(VerbForm[FinancialYear]):
    """An account's year: one sum in equal parts, or month by month. `seen` tells which account and plan it shows."""

    seen = forms.CharField(required=False, widget=forms.HiddenInput)
    account = AccountChoice(selectors.yearly_accounts)
    whole = AmountFormField(
        label="Whole year in equal parts", required=False, help_text="Or leave blank and type the months below."
    )

    def prepare(self) -> None:
        for month in selectors.months_of(self.target):
            self.fields[month_field(month)] = AmountFormField(label=f"{month:%B %Y}", required=False)

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        months = selectors.months_of(self.target)
        typed = {month: amount for month in months if (amount := cleaned.pop(month_field(month), None))}
        whole: Money | None = cleaned.get("whole")
        seen, account = cleaned.get("seen"), cleaned.get("account")
        planned = self._planned(account)
        if account and planned and seen != seen_plan(account.pk, planned):
            self.add_error(
                "account",
                f"{account} is planned already, or was meanwhile; open it from the budget, so that its months show.",
            )
        untouched = typed == planned
        if whole is not None and typed and not untouched and whole != total(typed.values()):
            self.add_error("whole", "Type either the whole year or the months; these do not come to the same.")
        is_spread = whole is not None and (untouched or not typed)
        cleaned["months"] = selectors.spread(whole, months) if is_spread and whole is not None else typed
        return cleaned

    def _planned(self, account: Account | None) -> dict[date, Money]:
        found = selectors.budget_by_month(self.target).get(account.pk, {}) if account else {}
        return {month: as_amount(figure) for month, figure in found.items()}


def seen_plan(account: int, months: Mapping[date, Money]) -> str:
    """What a form carries of the plan that it shows, so that another plan is never written over unseen."""
    return " ".join([str(account), *(f"{day}:{amount.amount}" for day, amount in sorted(months.items()))])


def month_field(month: date) -> str:
    return f"month_{month:%Y_%m}"


class CopyBudgetForm(VerbForm[FinancialYear]):
    percent = forms.DecimalField(
        label="Percent of last year", initial=100, min_value=Decimal(1), max_value=Decimal(1000), decimal_places=1
    )
    replace = forms.BooleanField(label="Replace the budget that is planned already")

    def prepare(self) -> None:
        if not self.target.budget.exists():
            del self.fields["replace"]


class ComparativesForm(VerbForm[FinancialYear]):
    """Last year's figures of one fund, account by account, as its statements printed them."""

    fund = fund_field(Fund.objects.all())

    def prepare(self) -> None:
        self.accounts = {f"account_{each.pk}": each for each in Account.objects.exclude(kind=Kind.EQUITY)}
        for name, account in self.accounts.items():
            taken_off = account.role in (Role.DEPRECIATED, Role.ALLOWANCE)
            note = "Above zero, though it is taken off the assets." if taken_off else ""
            self.fields[name] = AmountFormField(label=str(account), required=False, min_value=None, help_text=note)

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        typed = {account: cleaned.pop(name, None) for name, account in self.accounts.items()}
        cleaned["figures"] = {account: amount for account, amount in typed.items() if amount}
        return cleaned


GstForm = form_of(first=DayField(label="From", initial=None), last=DayField(label="To", initial=None))


class EntryChoice(forms.ModelMultipleChoiceField[JournalEntry]):
    """Entries of which somebody says that there is no GST in them."""

    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: JournalEntry) -> str:
        return f"{day_text(obj.date)}, entry {obj.number}: {obj.narration}"


class FoundForm(VerbForm[None]):
    until = DayField(label="To", help_text="It is dated on this day, or on the first open day after it.")
    without = EntryChoice(JournalEntry.objects.none(), label="No GST in these", required=False)

    def prepare(self) -> None:
        field = self.fields["without"]
        assert isinstance(field, EntryChoice)
        entries = {each.entry.pk for each in found.find(clock.today()).by_code}
        field.queryset = JournalEntry.objects.filter(pk__in=entries).order_by("number")


CloseForm = form_of(sure=forms.BooleanField(label="The year’s books are complete and were checked"))
