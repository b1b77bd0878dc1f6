"""Screens of the ledger: the chart, the years with their locks, and the journal to read."""

from collections.abc import Mapping
from datetime import date, timedelta

from django import forms
from django.apps import apps
from django.conf import settings
from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.db import models
from django.db.models import QuerySet
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.urls import NoReverseMatch, URLPattern, path, reverse
from django.utils.html import format_html

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.evidence import KINDS, served
from clubdesk.ledger import selectors, services
from clubdesk.ledger.finding import entries_of_amount
from clubdesk.ledger.forms import JournalForm, OpeningForm, accounts_by_hand
from clubdesk.ledger.models import (
    Account,
    FinancialYear,
    Fund,
    FundRole,
    Journal,
    JournalEntry,
    JournalOrigin,
    MonthLock,
    MonthUnlock,
    Party,
    PartyKind,
    Role,
    UnlockState,
)
from clubdesk.ledger.posting import Line
from clubdesk.money import nil
from clubdesk.rooms import in_order
from clubdesk.screens.fields import DayField, VerbForm, day_and_reason, form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin, RoomAdmin
from clubdesk.screens.searching import named_like
from clubdesk.screens.tables import Link, Section, add_page_of, amount_column, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage, signed_in
from clubdesk.verbs import verb_of

Column = models.Field[object, object]


@admin.register(Account)
class AccountAdmin(RoomAdmin[Account]):
    list_display = ("code", "name", "kind", "role")
    list_filter = ("kind",)
    search_fields = ("code", "name")
    search_help_text = "An account’s code or name"
    list_per_page = 100

    def get_exclude(self, request: HttpRequest, obj: Account | None = None) -> tuple[str, ...]:
        return () if settings.CLUB_GST_FROM else ("tax_code",)

    def formfield_for_choice_field(
        self, db_field: Column, request: HttpRequest, **kwargs: object
    ) -> forms.TypedChoiceField | None:
        """Nothing of GST is offered where the club is not registered."""
        if db_field.name == "role" and not settings.CLUB_GST_FROM:
            kwargs["choices"] = [("", "---------"), *(each for each in Role.choices if each[0] != Role.GST)]
        return super().formfield_for_choice_field(db_field, request, **kwargs)

    def get_readonly_fields(self, request: HttpRequest, obj: Account | None = None) -> tuple[str, ...]:
        return ("kind", "needs_party", "is_money") if obj and obj.postings.exists() else ()


@admin.register(Fund)
class FundAdmin(RoomAdmin[Fund]):
    list_display = ("name", "code", "restricted", "balance_shown")
    fields = ("name", "code", "restricted", "balance_shown")
    balance_shown = amount_column("balance", "Balance")

    def get_readonly_fields(self, request: HttpRequest, obj: Fund | None = None) -> tuple[str, ...]:
        return ("balance_shown", "code", "restricted") if obj else ("balance_shown",)


@admin.register(Party)
class PartyAdmin(RoomAdmin[Party]):
    list_display = ("name", "kind")
    list_filter = ("kind",)
    search_fields = ("name",)
    search_help_text = "A name, also misspelt"
    else_finds = (named_like(Party),)

    def formfield_for_choice_field(
        self, db_field: Column, request: HttpRequest, **kwargs: object
    ) -> forms.TypedChoiceField | None:
        """Families are added on the roll, which makes their party."""
        if db_field.name == "kind":
            kwargs["choices"] = [choice for choice in PartyKind.choices if choice[0] != PartyKind.HOUSEHOLD]
        return super().formfield_for_choice_field(db_field, request, **kwargs)

    def has_change_permission(self, request: HttpRequest, obj: Party | None = None) -> bool:
        return super().has_change_permission(request, obj) and (obj is None or obj.kind != PartyKind.HOUSEHOLD)


class OpenYearPage(VerbPage[None, FinancialYear]):
    verb = services.open_year
    button = "Open the year"
    form_class = form_of(first_day=DayField(label="First day", help_text="The day after the latest year ends."))

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        latest = FinancialYear.objects.first()
        return {"first_day": latest.last_day + timedelta(days=1)} if latest else {}

    def done(self, target: None, result: FinancialYear) -> str:
        return f"{result} is open."


class LockForm(VerbForm[FinancialYear]):
    month_end = forms.TypedChoiceField(label="Lock through", choices=[], coerce=date.fromisoformat)
    reason = forms.CharField(
        label="Why it is locked all the same", max_length=150, required=False,
        help_text="Needed where the months lack what stands above. It is kept, and stands in the workbook.",
    )  # fmt: skip

    def prepare(self) -> None:
        field = self.fields["month_end"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(day.isoformat(), f"{day:%B %Y}") for day in lockable(self.target)]


def lockable(year: FinancialYear) -> list[date]:
    """The ends of the year's open months that are over."""
    first = services.first_open(year)
    if first > year.last_day:
        return []
    return [day for day in selectors.month_ends(first, year.last_day) if day < clock.today()]


class LockPage(VerbPage[FinancialYear, FinancialYear]):
    slug = "lock"
    verb = services.lock_month
    intro = (
        "Nothing posts into a locked month any more. Lock what is signed off. Until the year is closed two people can"
        " unlock a month that was locked by mistake: one asks, another agrees."
    )
    button = "Lock"
    form_class = LockForm

    def applies(self, target: FinancialYear) -> bool:
        return bool(lockable(target))

    def facts(self, target: FinancialYear) -> Facts:
        found: list[tuple[str, object]] = [("Year", target), ("Locked through", target.locked_through or "nothing yet")]
        ends = lockable(target)
        for each in (each for room in in_order() for each in room.before_lock if ends):
            lacking = [("Look at this", said) for said in each.lacking(services.first_open(target), ends[-1])]
            found += [*lacking, ("If it is locked all the same", each.means)] if lacking else []
        return found

    def done(self, target: FinancialYear, result: FinancialYear) -> str:
        assert result.locked_through, "a month of it was locked just now"
        return f"{result} is locked through {long_day(result.locked_through)}."


class UnlockForm(VerbForm[FinancialYear]):
    month_end = forms.TypedChoiceField(label="Unlock from", choices=[], coerce=date.fromisoformat)
    reason = reason_field("What was locked by mistake, and what is to be put right. It is kept.")

    def prepare(self) -> None:
        field = self.fields["month_end"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(day.isoformat(), f"{day:%B %Y}") for day in reversed(locked_months(self.target))]


def locked_months(year: FinancialYear) -> list[date]:
    """The ends of the year's locked months."""
    return selectors.month_ends(year.first_day, year.locked_through) if year.locked_through else []


def becomes_of_proof(first: date, last: date) -> Facts:
    """What becomes of what was proven of these months, where they are unlocked."""
    said = (said for room in in_order() for each in room.before_lock for said in each.unlocked(first, last))
    return [("Look at this", sentence) for sentence in said]


class AskUnlockPage(VerbPage[FinancialYear, MonthUnlock]):
    slug = "unlock"
    verb = services.ask_to_unlock
    target = "year"
    intro = (
        "The month and every later one of the year are open again once somebody else agrees. Until then nothing"
        " changes. Lock them again when what was wrong is put right; who asked, who agreed and why stay in the"
        " workbook."
    )
    button = "Ask for it"
    form_class = UnlockForm

    def applies(self, target: FinancialYear) -> bool:
        return bool(target.locked_through) and not target.is_closed

    def facts(self, target: FinancialYear) -> Facts:
        if not target.locked_through:
            return ()
        signed = becomes_of_proof(target.first_day, target.locked_through)
        return [("Locked through", target.locked_through), *signed]

    def done(self, target: FinancialYear, result: MonthUnlock) -> str:
        return f"{result.month_end:%B %Y}: somebody else must agree before it is unlocked."


class DecideUnlockPage(VerbPage[MonthUnlock, MonthUnlock]):
    """What agreeing and declining share."""

    target = "unlock"

    def applies(self, target: MonthUnlock) -> bool:
        return target.state == UnlockState.ASKED

    def not_now(self, target: MonthUnlock) -> str:
        return "it was decided already."

    def facts(self, target: MonthUnlock) -> Facts:
        through = target.year.locked_through or target.month_end
        return [
            ("From the month to", target.month_end),
            ("Locked through", through),
            ("Why", target.reason),
            ("Asked for by", target.recorded_by),
            *becomes_of_proof(target.month_end.replace(day=1), through),
        ]


class AgreePage(DecideUnlockPage):
    slug = "agree"
    verb = services.agree_to_unlock
    intro = "The months are open again at once, and entries can be dated there until they are locked anew."
    button = "Agree, and unlock"

    def offered(self, request: HttpRequest, target: MonthUnlock) -> bool:
        return super().offered(request, target) and signed_in(request).pk != target.recorded_by_id

    def done(self, target: MonthUnlock, result: MonthUnlock) -> str:
        return f"Unlocked from {result.month_end:%B %Y}."


class DeclinePage(DecideUnlockPage):
    slug = "decline"
    verb = services.decline_unlock
    intro = "The months stay locked."
    form_class = form_of(reason=reason_field())

    def done(self, target: MonthUnlock, result: MonthUnlock) -> str:
        return "Declined; the months stay locked."


@admin.register(FinancialYear)
class FinancialYearAdmin(DocumentAdmin[FinancialYear]):
    list_display = ("__str__", "first_day", "last_day", "locked_through", "closed_at")
    fields = ("first_day", "last_day", "locked_through", "closed_at", "closed_by")
    readonly_fields = fields
    add_page = OpenYearPage()
    pages = (LockPage(), AskUnlockPage())


@admin.register(MonthLock)
class MonthLockAdmin(DocumentAdmin[MonthLock]):
    list_display = ("__str__", "locked_on", "recorded_by", "reason")
    list_select_related = ("recorded_by",)
    fields = ("year", "month_end", "locked_on", "lacking", "reason", "recorded_by")
    readonly_fields = fields


@admin.register(MonthUnlock)
class MonthUnlockAdmin(DocumentAdmin[MonthUnlock]):
    list_display = ("__str__", "asked_on", "recorded_by", "state", "decided_by", "reason")
    list_select_related = ("recorded_by", "decided_by")
    list_filter = ("state",)
    fields = (
        "year", "month_end", "stays_locked_through", "reason", "asked_on", "recorded_by", "state", "decided_by",
        "decided_on", "answer",
    )  # fmt: skip
    readonly_fields = fields
    pages = (AgreePage(), DeclinePage())


def lines_section(request: HttpRequest, entry: JournalEntry) -> Section:
    rows = [
        (str(row.account), str(row.fund), str(row.party or ""), row.debit if row.amount.amount > 0 else "",
         row.credit if row.amount.amount < 0 else "")
        for row in entry.postings.select_related("account", "fund", "party").order_by("pk")
    ]  # fmt: skip
    return Section("Lines", ["Account", "Fund", "Who", "Debit", "Credit"], rows)


@admin.register(JournalEntry)
class JournalEntryAdmin(DocumentAdmin[JournalEntry]):
    list_display = ("number", "date", "narration", "is_closing")
    search_fields = ("narration", "=number")
    search_help_text = "An entry’s number, words of its narration, or the amount of a line"
    also_finds = (entries_of_amount,)
    date_hierarchy = "date"
    list_filter = ("is_closing", "source_type")
    fields = (
        "number", "date", "narration", "source", "reverses", "why", "reversal", "posted_by", "posted_at", "digest",
    )  # fmt: skip
    readonly_fields = fields
    section_makers = (lines_section,)
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

    @admin.display(description="Why reversed")
    def why(self, entry: JournalEntry) -> str:
        """The reason, as the document keeps it; shown on the entry and on its reversal."""
        return selectors.why_undone([entry]).get(entry.pk, "–")


class ReversePage(VerbPage[Journal, Journal]):
    slug = "reverse"
    verb = services.reverse_journal
    target = "journal"
    intro = "A new entry undoes it line by line; both stay to be read. Then post what is right."
    button = "Reverse it"
    form_class = day_and_reason("Reversed on")

    def facts(self, target: Journal) -> Facts:
        entry = selectors.entries_of(target).filter(purpose="journal").first()
        lines = entry.postings.select_related("account").order_by("pk") if entry else []
        return [(f"{'Debit' if line.amount > nil() else 'Credit'} {line.account}", abs(line.amount)) for line in lines]

    def applies(self, target: Journal) -> bool:
        return selectors.entries_of(target).filter(reversed_by=None).exists()

    def done(self, target: Journal, result: Journal) -> str:
        return f"Reversed: {result}."


def entries_section(request: HttpRequest, journal: Journal) -> Section:
    rows = []
    for entry in selectors.entries_of(journal).select_related("reversed_by"):
        undone = getattr(entry, "reversed_by", None)
        why = f": {journal.why_undone}" if journal.why_undone else ""
        now = f"undone by {undone}, {day_text(undone.date)}{why}" if undone else "stands"
        rows.append((link_to(entry), entry.date, now))
    return Section("Entries", ["Entry", "Date", "Now"], rows)


def journal_lines_section(request: HttpRequest, journal: Journal) -> Section | None:
    entry = selectors.entries_of(journal).filter(purpose="journal").first()
    return lines_section(request, entry) if entry else None


class JournalPage(VerbPage[None, Journal]):
    slug = "add"
    verb = services.record_journal
    intro = (
        "For what no other page records: a bill paid, interest, a donation, a correction. Debit what the money was"
        " spent on or where it went, credit where it came from; both sides come to the same."
    )
    button = "Post the journal"
    form_class = JournalForm
    origin = JournalOrigin.HAND

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        """A copy of an earlier journal, where the address names one."""
        asked = request.GET.get("copy", "")
        copied = (
            Journal.objects.filter(pk=asked).first()
            if asked.isascii() and asked.isdigit() and len(asked) < 10
            else None
        )
        entry = selectors.entries_of(copied).filter(purpose="journal").first() if copied else None
        if entry is None:
            return super().initial(request, target)
        return {"narration": entry.narration, "lines": [_typed(line) for line in services.lines_of(entry)]}

    def arguments(self, target: None, cleaned: dict[str, object]) -> dict[str, object]:
        return {**super().arguments(target, cleaned), "origin": self.origin}

    def done(self, target: None, result: Journal) -> str:
        return f"Posted: {result}."


def _typed(line: Line) -> Mapping[str, object]:
    """A line as the form shows it."""
    assert isinstance(line.account, Account)
    side = "debit" if line.amount > nil() else "credit"
    return {"account": line.account.pk, "fund": line.fund_code, "party": line.party, side: abs(line.amount.amount)}


class OpeningPage(JournalPage):
    slug = "opening"
    title = "Import the opening trial balance"
    intro = (
        "The balances with which the club begins here, from the books it kept before, on the day before the first entry"
        " of this book or later in the year. What each family owes comes in with the roll, so leave Fees owed out, and"
        " leave Accumulated funds at what remains without it. Income and expense of the year so far count for the year;"
        " the statements on the cash basis begin with this day."
    )
    button = "Import it"
    form_class = OpeningForm
    origin = JournalOrigin.OPENING

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        general = FundRole.GENERAL.value
        return {
            "narration": "Opening trial balance",
            "lines": [{"account": account.pk, "fund": general} for account in accounts_by_hand()],
        }


class CopyLink(LinkPage[Journal]):
    slug = "copy"
    title = "Write one like it"
    permission = verb_of(services.record_journal).permission

    def applies(self, target: Journal) -> bool:
        """Only what was written by hand is written by hand again; the others have pages of their own."""
        return target.origin in (JournalOrigin.HAND, JournalOrigin.FILE)

    def url(self, target: Journal) -> str:
        return f"{add_page_of(Journal)}?copy={target.pk}"


def document_section(request: HttpRequest, journal: Journal) -> Section | None:
    if not journal.receipt:
        return None
    url = reverse("admin:ledger_journal_document", args=[journal.pk])
    return Section("Document", ["Attached"], [(Link(f"Open the document ({KINDS[journal.receipt_type]})", url),)])


@admin.register(Journal)
class JournalAdmin(DocumentAdmin[Journal]):
    list_display = ("date", "narration", "origin", "amount", "undone", "reference")
    list_filter = ("origin",)
    search_fields = ("narration", "reference")
    search_help_text = "Words of its narration, or its reference"
    date_hierarchy = "date"
    fields = ("date", "narration", "origin", "undone", "reference", "recorded_by")
    readonly_fields = fields
    add_page = JournalPage()
    list_pages = (OpeningPage(),)
    pages = (ReversePage(), CopyLink())
    section_makers = (journal_lines_section, entries_section, document_section)
    sections_first = True
    amount = amount_column("amount", "Amount", sorts=False)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Journal]:
        return selectors.with_amount_and_undoing(super().get_queryset(request))

    @admin.display(description="Undone")
    def undone(self, journal: selectors.WithUndoing) -> str:
        if journal.undone_on:
            return f"on {day_text(journal.undone_on)}"
        return f"will be by itself on {day_text(journal.reverse_on)}" if journal.reverse_on else "–"

    def get_urls(self) -> list[URLPattern]:
        view = self.admin_site.admin_view(self.attached)
        return [path("<int:pk>/document/", view, name="ledger_journal_document"), *super().get_urls()]

    def attached(self, request: HttpRequest, pk: int) -> HttpResponseBase:
        """The attached document, for those who may read the journal."""
        journal = self.get_object(request, str(pk))
        if journal is None or not journal.receipt:
            raise Http404
        if not self.has_view_permission(request, journal):
            raise PermissionDenied
        return served(journal.receipt, journal.receipt_type, f"journal-{pk}")
