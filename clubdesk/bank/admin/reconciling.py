"""Screens of months that were signed off."""

from django.contrib import admin

from clubdesk.bank import services
from clubdesk.bank.models import Reconciliation
from clubdesk.screens.fields import form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import amount_column
from clubdesk.screens.verbs import VerbPage


class ReopenPage(VerbPage[Reconciliation, Reconciliation]):
    slug = "reopen"
    verb = services.reopen_month
    target = "reconciliation"
    intro = "It is no longer signed off, and its lines and entries can change."
    button = "Open the month"
    form_class = form_of(reason=reason_field())

    def applies(self, target: Reconciliation) -> bool:
        return target.reopened_on is None

    def done(self, target: Reconciliation, result: Reconciliation) -> str:
        return f"{result} is open again."


@admin.register(Reconciliation)
class ReconciliationAdmin(DocumentAdmin[Reconciliation]):
    list_display = (
        "month_end",
        "bank_account",
        "statement_shown",
        "book_shown",
        "signed_on",
        "recorded_by",
        "reopened_on",
    )
    list_select_related = ("bank_account", "recorded_by")
    fields = (
        "bank_account", "month_end", "statement_balance", "deposits", "payments", "book_balance", "recorded_later",
        "signed_on",
        "recorded_by", "reopened_on", "reopened_by", "reopen_reason",
    )  # fmt: skip
    readonly_fields = fields
    pages = (ReopenPage(),)
    statement_shown = amount_column("statement_balance", "The statement says")
    book_shown = amount_column("book_balance", "The book says")
