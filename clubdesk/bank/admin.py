"""Screens of the bank room."""

from typing import Any

from django import forms
from django.contrib import admin
from django.db.models import Exists
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.bank import payments, selectors, services  # noqa: F401 - payments registers its own screens
from clubdesk.bank.models import (
    BankAccount,
    BankRule,
    CardSettlement,
    Clearing,
    Reconciliation,
    StatementImport,
    StatementLine,
)
from clubdesk.clock import day_text
from clubdesk.fees.admin import reason_field
from clubdesk.ledger.models import Posting
from clubdesk.membership.terms import months_later
from clubdesk.money import AmountFormField, shown
from clubdesk.screens import (
    DocumentAdmin,
    HappenedField,
    RoomAdmin,
    Section,
    VerbForm,
    VerbPage,
    amount_column,
    link_to,
)


def unexplained_section(request: HttpRequest, account: BankAccount) -> Section:
    rows = [(line.date, link_to(line, line.text), line.amount) for line in selectors.unexplained(account)[:30]]
    return Section(
        "Statement lines that nothing explains", ["Date", "Text", "Amount"], rows, "None: every line is explained."
    )


@admin.register(BankAccount)
class BankAccountAdmin(RoomAdmin):
    list_display = ["name", "account"]
    list_select_related = ["account"]
    fieldsets = [
        (None, {"fields": ["name", "account"]}),
        (
            "For payment files",
            {"fields": ["bsb", "account_number", "bank_letters", "user_name", "user_id", "remitter", "balanced"]},
        ),
    ]
    section_makers = [unexplained_section]


class SettleForm(VerbForm):
    takings = AmountFormField(label="Takings", help_text="What the readers took, before the fee.")
    fee = AmountFormField(label="Fee", initial=0)
    on = HappenedField(label="Settled on")


class SettlePage(VerbPage):
    title = "Card takings settled"
    intro = "The card company paid takings into the bank, less its fee."
    button = "Record it"
    permission = "bank.add_cardsettlement"
    form_class = SettleForm

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        return [("Waiting to be settled", selectors.card_takings_waiting())]

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> CardSettlement:
        return services.settle_cards(by=by, **cleaned)


@admin.register(CardSettlement)
class CardSettlementAdmin(DocumentAdmin):
    list_display = ["settled_on", "takings_shown", "fee_shown", "paid_in_shown"]
    fields = ["settled_on", "takings_shown", "fee_shown", "paid_in_shown", "recorded_by"]
    readonly_fields = fields
    add_page = SettlePage()
    takings_shown = amount_column("takings", "Takings")
    fee_shown = amount_column("fee", "Fee")

    @admin.display(description="Paid in")
    def paid_in_shown(self, settlement: CardSettlement) -> str:
        return shown(settlement.paid_in)


class LineForm(VerbForm):
    bank_account = forms.ModelChoiceField(queryset=BankAccount.objects.all())
    on = HappenedField(label="Date on the statement")
    amount = AmountFormField(help_text="Money in positive, money out with a minus.", min_value=None)
    text = forms.CharField(max_length=200, help_text="The statement's own words.")


class LinePage(VerbPage):
    title = "Write down a statement line"
    button = "Record the line"
    permission = "bank.add_statementline"
    form_class = LineForm

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        accounts = BankAccount.objects.all()[:2]
        return {"bank_account": accounts[0].pk} if len(accounts) == 1 else {}

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> StatementLine:
        return services.record_statement_line(by=by, **cleaned)


class PostingChoice(forms.ModelChoiceField):
    def label_from_instance(self, posting: Any) -> str:
        return f"{day_text(posting.entry.date)}, entry {posting.entry.number}: {posting.entry.narration}"


class ExplainForm(VerbForm):
    posting = PostingChoice(label="It is", queryset=Posting.objects.none(), widget=forms.RadioSelect, empty_label=None)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["posting"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = selectors.possible_explanations(self.target)


class ExplainPage(VerbPage):
    slug = "explain"
    title = "Explain this line"
    intro = "Entries of the very amount in this account that explain no other line. Choose only what you know."
    button = "That is it"
    permission = "bank.change_statementline"
    form_class = ExplainForm

    def applies(self, target: StatementLine) -> bool:
        return not target.clearings.filter(stands=True).exists()

    def facts(self, target: StatementLine) -> list[tuple[str, Any]]:
        return [("Date", target.date), ("Text", target.text), ("Amount", target.amount)]

    def perform(self, *, target: StatementLine, by: Any, posting: Posting, key: Any) -> Clearing:
        return services.explain_line(line=target, posting=posting, by=by)

    def done(self, result: Clearing) -> str:
        return f"Explained: {result.lines.get().line}."


class ExplainedFilter(admin.SimpleListFilter):
    title = "explained"
    parameter_name = "explained"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, str]]:
        return [("no", "Nothing explains it yet"), ("yes", "Explained")]

    def queryset(self, request: HttpRequest, queryset: Any) -> Any:
        if not self.value():
            return queryset
        return queryset.filter(selectors.UNEXPLAINED if self.value() == "no" else ~selectors.UNEXPLAINED)


@admin.register(StatementImport)
class StatementImportAdmin(DocumentAdmin):
    list_display = ["file_name", "bank_account", "first_day", "last_day", "brought", "known", "closing_shown"]
    list_select_related = ["bank_account"]
    fields = [
        "bank_account", "file_name", "first_day", "last_day", "opening", "closing", "brought", "known", "note",
        "recorded_by",
    ]  # fmt: skip
    readonly_fields = fields
    closing_shown = amount_column("closing", "Closing balance")


@admin.register(StatementLine)
class StatementLineAdmin(DocumentAdmin):
    list_display = ["date", "text", "amount_shown", "explained"]
    list_filter = [ExplainedFilter]
    search_fields = ["text"]
    date_hierarchy = "date"
    fields = [
        "bank_account", "date", "text", "amount_shown", "balance", "bank_id", "brought_by", "explanation",
        "recorded_by",
    ]  # fmt: skip
    readonly_fields = fields
    add_page = LinePage()
    pages = [ExplainPage()]
    amount_shown = amount_column("amount", "Amount")

    @admin.display(description="Explained", boolean=True)
    def explained(self, line: StatementLine) -> bool:
        return line.is_explained  # type: ignore[attr-defined]

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).annotate(is_explained=Exists(selectors.STANDING_CLEARING))

    @admin.display(description="Explained by")
    def explanation(self, line: StatementLine) -> str:
        part = line.clearings.filter(stands=True).select_related("clearing").first()
        if part is None:
            return "nothing yet"
        entries = [each.posting.entry for each in part.clearing.postings.select_related("posting__entry")]
        said = "; ".join(f"entry {each.number} of {day_text(each.date)}: {each.narration}" for each in entries)
        return f"{said} ({part.clearing.reasons})"


class UndoForm(VerbForm):
    reason = reason_field()


class UndoPage(VerbPage):
    slug = "undo"
    title = "Undo this clearing"
    intro = "The lines wait to be explained again. What was posted stays; put that right by its own page."
    button = "Undo it"
    permission = "bank.change_statementline"
    form_class = UndoForm

    def applies(self, target: Clearing) -> bool:
        return target.undone_on is None

    def facts(self, target: Clearing) -> list[tuple[str, Any]]:
        return [(str(part.line), part.line.amount) for part in target.lines.select_related("line")]

    def perform(self, *, target: Clearing, by: Any, reason: str, key: Any) -> Clearing:
        return services.undo_clearing(clearing=target, on=clock.today(), reason=reason, by=by)

    def done(self, result: Clearing) -> str:
        return "Undone; its lines wait to be explained."


def cleared_section(request: HttpRequest, clearing: Clearing) -> Section:
    rows: list[tuple[Any, ...]] = [
        (link_to(part.line, part.line.text), part.line.date, "statement", part.line.amount)
        for part in clearing.lines.select_related("line")
    ]
    rows += [
        (link_to(part.posting.entry, part.posting.entry.narration), part.posting.entry.date, "ledger",
         part.posting.amount)
        for part in clearing.postings.select_related("posting__entry")
    ]  # fmt: skip
    return Section("The same money", ["What", "Date", "Where", "Amount"], rows)


@admin.register(Clearing)
class ClearingAdmin(DocumentAdmin):
    list_display = ["__str__", "how_sure", "reasons", "recorded_by", "undone_on"]
    list_select_related = ["recorded_by"]
    list_filter = ["how_sure"]
    fields = ["bank_account", "how_sure", "reasons", "recorded_by", "undone_on", "undone_by", "undo_reason"]
    readonly_fields = fields
    pages = [UndoPage()]
    section_makers = [cleared_section]
    sections_first = True


class ReopenForm(VerbForm):
    reason = reason_field()


class ReopenPage(VerbPage):
    slug = "reopen"
    title = "Open this month again"
    intro = "It is no longer signed off, and its lines and entries can change."
    button = "Open the month"
    permission = "bank.change_reconciliation"
    form_class = ReopenForm

    def applies(self, target: Reconciliation) -> bool:
        return target.reopened_on is None

    def perform(self, *, target: Reconciliation, by: Any, reason: str, key: Any) -> Reconciliation:
        return services.reopen_month(reconciliation=target, on=clock.today(), reason=reason, by=by)

    def done(self, result: Reconciliation) -> str:
        return f"{result} is open again."


@admin.register(Reconciliation)
class ReconciliationAdmin(DocumentAdmin):
    list_display = [
        "month_end",
        "bank_account",
        "statement_shown",
        "book_shown",
        "signed_on",
        "recorded_by",
        "reopened_on",
    ]
    list_select_related = ["bank_account", "recorded_by"]
    fields = [
        "bank_account", "month_end", "statement_balance", "deposits", "payments", "book_balance", "signed_on",
        "recorded_by", "reopened_on", "reopened_by", "reopen_reason",
    ]  # fmt: skip
    readonly_fields = fields
    pages = [ReopenPage()]
    statement_shown = amount_column("statement_balance", "The statement says")
    book_shown = amount_column("book_balance", "The book says")


def caught_section(request: HttpRequest, rule: BankRule) -> Section:
    """Which lines of the last year the rule speaks of, so that one sees what it would have caught."""
    since = months_later(clock.today(), -12)
    lines = StatementLine.objects.filter(date__gte=since).annotate(is_explained=Exists(selectors.STANDING_CLEARING))
    rows = [
        (each.date, link_to(each, each.text), "explained" if each.is_explained else "waits", each.amount)
        for each in lines
        if rule.catches(each.text, each.amount)
    ]
    return Section("Lines of the last year that it speaks of", ["Date", "Words", "State", "Amount"], rows[:50])


@admin.register(BankRule)
class BankRuleAdmin(RoomAdmin):
    list_display = ["name", "contains", "way", "account", "fund", "in_use"]
    list_select_related = ["account", "fund"]
    fields = ["name", "contains", "way", "least", "most", "account", "fund", "party", "in_use"]
    section_makers = [caught_section]
