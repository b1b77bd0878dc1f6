"""Screens of the ledger: the chart, the years with their locks, and the journal to read."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.apps import apps
from django.contrib import admin
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger import selectors, services
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, Journal, JournalEntry, Party, PartyKind
from clubdesk.ledger.posting import Line
from clubdesk.money import AmountFormField, positive
from clubdesk.screens import (
    DayField,
    DocumentAdmin,
    RoomAdmin,
    Section,
    VerbForm,
    VerbPage,
    amount_column,
    link_to,
)


@admin.register(Account)
class AccountAdmin(RoomAdmin):
    list_display = ["code", "name", "kind", "role"]
    list_filter = ["kind"]
    search_fields = ["code", "name"]
    list_per_page = 100

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        return ["kind", "needs_party", "is_money"] if obj and obj.postings.exists() else []


@admin.register(Fund)
class FundAdmin(RoomAdmin):
    list_display = ["name", "code", "restricted", "balance_shown"]
    fields = ["name", "code", "restricted", "balance_shown"]
    readonly_fields = ["balance_shown"]
    balance_shown = amount_column("balance", "Balance")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        return ["balance_shown", "code", "restricted"] if obj else ["balance_shown"]


@admin.register(Party)
class PartyAdmin(RoomAdmin):
    list_display = ["name", "kind"]
    list_filter = ["kind"]
    search_fields = ["name"]

    def formfield_for_choice_field(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        """Households are added on the roll, which makes their party."""
        if db_field.name == "kind":
            kwargs["choices"] = [choice for choice in PartyKind.choices if choice[0] != PartyKind.HOUSEHOLD]
        return super().formfield_for_choice_field(db_field, request, **kwargs)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return super().has_change_permission(request, obj) and (obj is None or obj.kind != PartyKind.HOUSEHOLD)


class OpenYearForm(VerbForm):
    first_day = DayField(label="First day", help_text="The day after the latest year ends.")


class OpenYearPage(VerbPage):
    title = "Open the next financial year"
    button = "Open the year"
    permission = "ledger.add_financialyear"
    form_class = OpenYearForm

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        latest = FinancialYear.objects.first()
        return {"first_day": latest.last_day + timedelta(days=1)} if latest else {}

    def perform(self, *, target: Any, by: Any, first_day: date, key: Any) -> FinancialYear:
        return services.open_year(first_day=first_day, by=by)

    def done(self, result: FinancialYear) -> str:
        return f"{result} is open."


class LockForm(VerbForm):
    month_end = forms.TypedChoiceField(label="Lock through", choices=[], coerce=date.fromisoformat)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["month_end"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(day.isoformat(), f"{day:%B %Y}") for day in lockable(self.target)]


def lockable(year: FinancialYear) -> list[date]:
    """The ends of the year's open months that are over."""
    first = year.locked_through + timedelta(days=1) if year.locked_through else year.first_day
    if first > year.last_day:
        return []
    return [day for day in selectors.month_ends(first, year.last_day) if day < clock.today()]


class LockPage(VerbPage):
    slug = "lock"
    title = "Lock months"
    intro = "Nothing posts into a locked month again, and a lock is never taken back. Lock what is reconciled."
    button = "Lock"
    permission = "ledger.lock_month"
    form_class = LockForm

    def applies(self, target: FinancialYear) -> bool:
        return bool(lockable(target))

    def facts(self, target: FinancialYear) -> list[tuple[str, Any]]:
        return [("Year", target), ("Locked through", target.locked_through or "nothing yet")]

    def perform(self, *, target: FinancialYear, by: Any, month_end: date, key: Any) -> FinancialYear:
        return services.lock_month(month_end=month_end, by=by)

    def done(self, result: FinancialYear) -> str:
        return f"{result} is locked through {result.locked_through:%-d %B %Y}."


class CloseForm(VerbForm):
    sure = forms.BooleanField(label="The year's books are complete and were checked")


class ClosePage(VerbPage):
    slug = "close"
    title = "Close this year"
    intro = (
        "Income and expense of each fund go to Accumulated funds and every month is locked. A closed year is never"
        " opened again. Have the books checked first, by your auditor where the club's rules or the law ask for one."
    )
    button = "Close the year for good"
    permission = "ledger.close_year"
    form_class = CloseForm

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed and target.last_day < clock.today()

    def perform(self, *, target: FinancialYear, by: Any, sure: bool, key: Any) -> FinancialYear:
        return services.close_year(year=target, by=by, on=clock.today())

    def done(self, result: FinancialYear) -> str:
        return f"{result} is closed."


@admin.register(FinancialYear)
class FinancialYearAdmin(DocumentAdmin):
    list_display = ["__str__", "first_day", "last_day", "locked_through", "closed_at"]
    fields = ["first_day", "last_day", "locked_through", "closed_at", "closed_by"]
    readonly_fields = fields
    add_page = OpenYearPage()
    pages = [LockPage(), ClosePage()]


def lines_section(request: HttpRequest, entry: JournalEntry) -> Section:
    rows = [
        (str(row.account), str(row.fund), str(row.party or ""), row.debit if row.amount.amount > 0 else "",
         row.credit if row.amount.amount < 0 else "")
        for row in entry.postings.select_related("account", "fund", "party").order_by("pk")
    ]  # fmt: skip
    return Section("Lines", ["Account", "Fund", "Who", "Debit", "Credit"], rows)


@admin.register(JournalEntry)
class JournalEntryAdmin(DocumentAdmin):
    list_display = ["number", "date", "narration", "is_closing"]
    search_fields = ["narration", "number"]
    search_help_text = "An entry's number or words of its narration"
    date_hierarchy = "date"
    list_filter = ["is_closing", "source_type"]
    fields = [
        "number", "date", "narration", "source", "reverses", "reversal", "posted_by", "posted_at", "digest",
    ]  # fmt: skip
    readonly_fields = fields
    section_makers = [lines_section]
    sections_first = True

    @admin.display(description="Document")
    def source(self, entry: JournalEntry) -> str:
        """The document behind the entry, as a link to its page."""
        meta = apps.get_model(entry.source_type)._meta
        name = f"{str(meta.verbose_name).capitalize()} {entry.source_id}"
        try:
            url = reverse(f"admin:{meta.app_label}_{meta.model_name}_change", args=[entry.source_id])
        except NoReverseMatch:  # shown on the page of what it belongs to, with none of its own
            return f"{name}: {entry.purpose}"
        return format_html('<a href="{}">{}</a>: {}', url, name, entry.purpose)

    @admin.display(description="Reversed by")
    def reversal(self, entry: JournalEntry) -> str:
        return str(getattr(entry, "reversed_by", "") or "–")


class ReverseForm(VerbForm):
    on = DayField(label="Reversed on")
    reason = forms.CharField(max_length=150)


class ReversePage(VerbPage):
    slug = "reverse"
    title = "Reverse this journal"
    intro = "A new entry undoes it line by line; both stay to be read. Then post what is right."
    button = "Reverse it"
    permission = "ledger.change_journal"
    form_class = ReverseForm

    def applies(self, target: Journal) -> bool:
        return selectors.entries_of(target).filter(reversed_by=None).exists()

    def perform(self, *, target: Journal, by: Any, on: date, reason: str, key: Any) -> Journal:
        services.undo_entries_of(document=target, on=on, reason=reason, by=by)
        return target

    def done(self, result: Journal) -> str:
        return f"Reversed: {result}."


def entries_section(request: HttpRequest, journal: Journal) -> Section:
    rows = [
        (
            link_to(entry),
            entry.date,
            entry.narration,
            f"reversed by entry {entry.reversed_by.number}" if hasattr(entry, "reversed_by") else "",
        )
        for entry in selectors.entries_of(journal).select_related("reversed_by")
    ]
    return Section("Entries", ["Entry", "Date", "Narration", ""], rows)


def accounts_by_hand() -> Any:
    """Accounts that need nobody named; the others are posted to from their own rooms."""
    return Account.objects.filter(needs_party=False)


class JournalForm(VerbForm):
    on = DayField(label="Date")
    narration = forms.CharField(max_length=300, help_text="What it is for, as an auditor should read it.")
    debit = forms.ModelChoiceField(
        label="To", queryset=accounts_by_hand(), help_text="Debited: what the money was spent on, or where it went."
    )
    credit = forms.ModelChoiceField(
        label="From", queryset=accounts_by_hand(), help_text="Credited: where it came from, such as the bank."
    )
    fund = forms.ModelChoiceField(queryset=Fund.objects.all(), initial=FundRole.GENERAL)
    amount = AmountFormField()


class JournalPage(VerbPage):
    title = "Write a journal"
    intro = (
        "For what no other page records: a bill paid, interest, a donation. Two accounts and one amount;"
        " longer ones come by import_journal."
    )
    button = "Post the journal"
    permission = "ledger.add_journal"
    form_class = JournalForm

    def perform(
        self, *, target: Any, by: Any, debit: Account, credit: Account, fund: Fund, amount: Any, **cleaned: Any
    ) -> Journal:
        if debit == credit:
            raise Refused("Choose two different accounts.")
        amount = positive(amount)
        lines = [Line(debit, amount, None, fund), Line(credit, -amount, None, fund)]
        return services.record_journal(lines=lines, by=by, **cleaned)

    def done(self, result: Journal) -> str:
        return f"Posted: {result}."


@admin.register(Journal)
class JournalAdmin(DocumentAdmin):
    list_display = ["date", "narration", "origin", "reference"]
    list_filter = ["origin"]
    search_fields = ["narration", "reference"]
    date_hierarchy = "date"
    fields = ["date", "narration", "origin", "reference", "recorded_by"]
    readonly_fields = fields
    add_page = JournalPage()
    pages = [ReversePage()]
    section_makers = [entries_section]
