"""Screens of what was found to be the same money, and undoing it."""

from django.contrib import admin
from django.http import HttpRequest

from clubdesk.bank import services
from clubdesk.bank.models import Clearing
from clubdesk.screens.fields import form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage


class UndoPage(VerbPage[Clearing, Clearing]):
    slug = "undo"
    verb = services.undo_clearing
    target = "clearing"
    intro = "What it joins waits again. What was posted stays; put that right by its own page."
    button = "Undo it"
    form_class = form_of(reason=reason_field())

    def applies(self, target: Clearing) -> bool:
        return target.undone_on is None

    def facts(self, target: Clearing) -> Facts:
        lines = [(str(part.line), part.line.amount) for part in target.lines.select_related("line")]
        pair = target.postings.select_related("posting__entry") if not lines else ()
        return lines or [(str(part.posting.entry), part.posting.amount) for part in pair]

    def done(self, target: Clearing, result: Clearing) -> str:
        return "Undone; what it joined waits again."


def cleared_section(request: HttpRequest, clearing: Clearing) -> Section:
    rows: list[tuple[object, ...]] = [
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
class ClearingAdmin(DocumentAdmin[Clearing]):
    list_display = ("__str__", "how_sure", "reasons", "recorded_by", "settled_on", "undone_on")
    list_select_related = ("recorded_by",)
    list_filter = ("how_sure",)
    search_fields = ("lines__line__text",)
    search_help_text = "Words of the bank’s line"
    fields = (
        "bank_account",
        "how_sure",
        "reasons",
        "why_never",
        "recorded_by",
        "settled_on",
        "undone_on",
        "undone_by",
        "undo_reason",
    )
    readonly_fields = fields
    pages = (UndoPage(),)
    section_makers = (cleared_section,)
    sections_first = True
