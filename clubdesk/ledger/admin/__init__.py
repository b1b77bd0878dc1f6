"""Screens of the ledger: the chart, the years with their locks, and the journal to read."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from django import forms
from django.apps import apps
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
from clubdesk.ledger.admin.locks import AskUnlockPage, LockPage
from clubdesk.ledger.finding import entries_of_amount
from clubdesk.ledger.forms import CorrectionForm, JournalForm, OpeningForm, accounts_to_open
from clubdesk.ledger.models import (
    TAX_ROLES,
    Account,
    Book,
    FinancialYear,
    Fund,
    FundRole,
    Journal,
    JournalEntry,
    JournalOrigin,
    Party,
    PartyKind,
    Role,
    TaxBasis,
)
from clubdesk.ledger.posting import Line
from clubdesk.ledger.views import READ_LINES
from clubdesk.money import as_amount, nil
from clubdesk.screens.fields import DayField, VerbForm, day_and_reason, form_of
from clubdesk.screens.rooms import DocumentAdmin, RoomAdmin
from clubdesk.screens.searching import named_like
from clubdesk.screens.tables import Link, Section, add_page_of, amount_column, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage
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
        return () if selectors.is_registered() else ("tax_code",)

    def formfield_for_choice_field(
        self, db_field: Column, request: HttpRequest, **kwargs: object
    ) -> forms.TypedChoiceField | None:
        """Nothing of GST is offered where the club is not registered."""
        if db_field.name == "role" and not selectors.is_registered():
            kwargs["choices"] = [("", "---------"), *(each for each in Role.choices if each[0] not in TAX_ROLES)]
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


class RegisterForm(VerbForm[None]):
    since = DayField(label="Registered from", initial=None)
    basis = forms.ChoiceField(label="Returns", choices=TaxBasis.choices)


class RegisterPage(VerbPage[None, Book]):
    slug = "gst"
    verb = services.register_for_gst
    intro = (
        "From that day GST is posted with each fee and bill that has it, by the codes of the fee schedule and of the"
        " chart. Whether the club must or may register, and on which basis, is for a registered tax agent to say."
    )
    button = "Register"
    form_class = RegisterForm

    def facts(self, target: None) -> Facts:
        turnover = selectors.gst_turnover(clock.today())
        return [
            ("GST turnover of the last twelve months", as_amount(turnover)),
            ("A club must register from", selectors.REGISTERS_FROM),
        ]

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        book = selectors.book()
        return {"since": book.gst_from, "basis": book.gst_basis}

    def done(self, target: None, result: Book) -> str:
        assert result.gst_from, "the club was registered just now"
        return f"Registered for GST from {long_day(result.gst_from)}; the chart has its accounts."

    def destination(self, target: None, result: Book) -> str:
        return reverse("admin:ledger_account_changelist")


@admin.register(Book)
class BookAdmin(RoomAdmin[Book]):
    """Whom families ask and how else they pay; all else of the book is its own."""

    list_display = ("club_name", "contact", "also_paid")
    fields = ("club_name", "contact_name", "contact_email", "contact_phone", "also_paid", "pay_days", "letters_an_hour")
    readonly_fields = ("club_name",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


@admin.register(FinancialYear)
class FinancialYearAdmin(DocumentAdmin[FinancialYear]):
    list_display = ("__str__", "first_day", "last_day", "locked_through", "closed_at")
    fields = ("first_day", "last_day", "locked_through", "closed_at", "closed_by")
    readonly_fields = fields
    add_page = OpenYearPage()
    list_pages = (RegisterPage(),)
    pages = (LockPage(), AskUnlockPage())


def lines_section(request: HttpRequest, entry: JournalEntry) -> Section:
    rows = [
        (str(row.account), str(row.fund), str(row.party or ""), row.debit if row.amount.amount > 0 else "",
         row.credit if row.amount.amount < 0 else "")
        for row in entry.postings.select_related("account", "fund", "party").order_by("pk")
    ]  # fmt: skip
    return Section("Lines", ["Account", "Fund", "Who", "Debit", "Credit"], rows)


class SourceFilter(admin.SimpleListFilter):
    """By the kind of document behind an entry, as that is called."""

    title = "document"
    parameter_name = "source_type"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        kinds = JournalEntry.objects.order_by("source_type").values_list("source_type", flat=True).distinct()
        named = [(kind, str(apps.get_model(kind)._meta.verbose_name).capitalize()) for kind in kinds]
        return sorted(named, key=lambda each: each[1])

    def queryset(self, request: HttpRequest, queryset: QuerySet[JournalEntry]) -> QuerySet[JournalEntry]:
        return queryset.filter(source_type=self.value()) if self.value() else queryset


@admin.register(JournalEntry)
class JournalEntryAdmin(DocumentAdmin[JournalEntry]):
    list_display = ("number", "date", "narration", "is_closing")
    search_fields = ("narration", "=number")
    search_help_text = "An entry’s number, words of its narration, or the amount of a line"
    also_finds = (entries_of_amount,)
    date_hierarchy = "date"
    list_filter = ("is_closing", SourceFilter)
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

    def initial(self, request: HttpRequest, target: Journal) -> dict[str, object]:
        """Its own day where that is open, so that no month shows what never was."""
        return {"on": services.open_day_now(target.date)}

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

    def done(self, target: None, result: Journal) -> str:
        return f"Posted: {result}."


def _typed(line: Line) -> Mapping[str, object]:
    """A line as the form shows it."""
    assert isinstance(line.account, Account)
    side = "debit" if line.amount > nil() else "credit"
    return {"account": line.account.pk, "fund": line.fund_code, "party": line.party, side: abs(line.amount.amount)}


class OpeningPage(VerbPage[None, Journal]):
    slug = "opening"
    verb = services.record_opening
    intro = (
        "What the club had and owed on the day before the first year of this book, from the books it kept before; a"
        " fund has lines of its own. It was there before, so no statement counts it as received, whatever day it is"
        " typed on. What is left of each fund is the club’s own and is worked out (Accumulated funds). What each family"
        " owes or has paid ahead has a page of its own and is left out here."
    )
    button = "Record it"
    form_class = OpeningForm

    def applies(self, target: None) -> bool:
        return selectors.still_opens()

    def not_now(self, target: None) -> str:
        return "the first month is locked, so nothing from before it can be recorded."

    def facts(self, target: None) -> Facts:
        from_file = Link("Read the lines from a CSV or XLSX file", reverse("admin:opening_file"))
        return [("As it stood on", long_day(selectors.opening_day())), ("Or from a file", from_file)]

    def notes(self, target: None) -> Sequence[str]:
        if Party.objects.exclude(kind=PartyKind.HOUSEHOLD).exists():
            return []
        add = "<a href='{}' target='_blank' rel='noopener'>Add whoever owed the club, or was owed</a>"
        there = f"Nobody stands under “Who” yet. {add}, then open this page again."
        return [format_html(there, reverse("admin:ledger_party_add"))]

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        if "file" in request.GET and (read := request.session.get(READ_LINES)):
            return {"narration": "Balances of the books kept before", "lines": read}
        general = FundRole.GENERAL.value
        of_each_fund = [(selectors.account(Role.BANK).pk, fund.pk) for fund in Fund.objects.all()]
        money = accounts_to_open().filter(is_money=True).exclude(role=Role.BANK)
        lines = [*of_each_fund, *((account.pk, general) for account in money)]
        return {
            "narration": "Balances of the books kept before",
            "lines": [{"account": account, "fund": fund} for account, fund in lines],
        }

    def done(self, target: None, result: Journal) -> str:
        return f"Recorded: {result}."


class CorrectionPage(VerbPage[None, Journal]):
    slug = "correction"
    verb = services.correct_earlier_year
    intro = (
        "A closed year stays as it was printed. What it got wrong is put right now, against Accumulated funds, on a"
        " line of its own in both statements: Correction of earlier years. Whether members must be told, or the"
        " year printed anew, is for the club’s rules and its accountant or auditor to say."
    )
    button = "Post the correction"
    form_class = CorrectionForm

    def applies(self, target: None) -> bool:
        return FinancialYear.objects.exclude(closed_at=None).exists()

    def not_now(self, target: None) -> str:
        return "no year is closed yet; what is wrong in an open year is undone and written again."

    def done(self, target: None, result: Journal) -> str:
        return f"Posted: {result}."


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
    fields = ("date", "narration", "origin", "corrects_year", "undone", "reference", "recorded_by")
    readonly_fields = fields
    add_page = JournalPage()
    list_pages = (OpeningPage(), CorrectionPage())
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
