"""Screens of the bank's statements: the files, their lines, and what a line is matched with."""

from django import forms
from django.contrib import admin
from django.db.models import Exists, QuerySet
from django.http import HttpRequest

from clubdesk.bank import selectors, services
from clubdesk.bank.admin.ways import WAYS, CorrectionPage
from clubdesk.bank.models import BankAccount, Clearing, StatementImport, StatementLine
from clubdesk.clock import day_text
from clubdesk.ledger.models import Posting
from clubdesk.money import AmountFormField
from clubdesk.screens.fields import HappenedField, VerbForm, choose_from
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import amount_column
from clubdesk.screens.verbs import Facts, VerbPage


class LineForm(VerbForm[None]):
    bank_account = forms.ModelChoiceField(queryset=BankAccount.objects.all())
    on = HappenedField(label="Date on the statement")
    amount = AmountFormField(help_text="Money in positive, money out with a minus.", min_value=None)
    text = forms.CharField(max_length=200, help_text="The statement's own words.")


class LinePage(VerbPage[None, StatementLine]):
    verb = services.record_statement_line
    button = "Record the line"
    form_class = LineForm

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        accounts = BankAccount.objects.all()[:2]
        return {"bank_account": accounts[0].pk} if len(accounts) == 1 else {}


class PostingChoice(forms.ModelChoiceField[Posting]):
    def label_from_instance(self, posting: Posting) -> str:
        return f"{day_text(posting.entry.date)}, entry {posting.entry.number}: {posting.entry.narration}"


class ExplainForm(VerbForm[StatementLine]):
    posting = PostingChoice(label="It is", queryset=Posting.objects.none(), widget=forms.RadioSelect, empty_label=None)

    def prepare(self) -> None:
        choose_from(self, "posting", selectors.possible_explanations(self.target))


class ExplainPage(VerbPage[StatementLine, Clearing]):
    slug = "explain"
    verb = services.explain_line
    target = "line"
    intro = "Entries of the very amount in this account that are matched with no other line. Choose only what you know."
    button = "That is it"
    form_class = ExplainForm

    def applies(self, target: StatementLine) -> bool:
        return not target.clearings.filter(stands=True).exists()

    def facts(self, target: StatementLine) -> Facts:
        return [("Date", target.date), ("Text", target.text), ("Amount", target.amount)]

    def done(self, target: StatementLine, result: Clearing) -> str:
        return f"Matched: {target}."


class ExplainedFilter(admin.SimpleListFilter):
    title = "matched"
    parameter_name = "explained"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("no", "Not matched yet"), ("yes", "Matched")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[StatementLine]) -> QuerySet[StatementLine]:
        if not self.value():
            return queryset
        return queryset.filter(selectors.UNEXPLAINED if self.value() == "no" else ~selectors.UNEXPLAINED)


@admin.register(StatementImport)
class StatementImportAdmin(DocumentAdmin[StatementImport]):
    list_display = ("file_name", "bank_account", "first_day", "last_day", "brought", "known", "closing_shown")
    list_select_related = ("bank_account",)
    search_fields = ("file_name",)
    search_help_text = "A file’s name"
    fields = (
        "bank_account", "file_name", "first_day", "last_day", "opening", "closing", "brought", "known", "note",
        "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    closing_shown = amount_column("closing", "Closing balance")


@admin.register(StatementLine)
class StatementLineAdmin(DocumentAdmin[StatementLine]):
    list_display = ("date", "text", "amount_shown", "explained")
    list_filter = (ExplainedFilter,)
    search_fields = ("text", "bank_id")
    search_help_text = "Words of the bank, its own number, or an amount"
    also_finds = (amount_in("amount"),)
    date_hierarchy = "date"
    fields = (
        "bank_account", "date", "text", "amount_shown", "balance", "bank_id", "brought_by", "explanation",
        "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    add_page = LinePage()
    pages = (ExplainPage(), *WAYS, CorrectionPage())
    amount_shown = amount_column("amount", "Amount")

    @admin.display(description="Matched", boolean=True)
    def explained(self, line: StatementLine) -> bool:
        return bool(getattr(line, "is_explained", False))

    def get_queryset(self, request: HttpRequest) -> QuerySet[StatementLine]:
        return super().get_queryset(request).annotate(is_explained=Exists(selectors.STANDING_CLEARING))

    @admin.display(description="Matched with")
    def explanation(self, line: StatementLine) -> str:
        part = line.clearings.filter(stands=True).select_related("clearing").first()
        if part is None:
            return "nothing yet"
        entries = [each.posting.entry for each in part.clearing.postings.select_related("posting__entry")]
        said = "; ".join(f"entry {each.number} of {day_text(each.date)}: {each.narration}" for each in entries)
        return f"{said} ({part.clearing.reasons})"
