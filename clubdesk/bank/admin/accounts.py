"""Screens of the club's bank accounts."""

from django.contrib import admin
from django.http import HttpRequest

from clubdesk.bank import selectors
from clubdesk.bank.models import BankAccount
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.tables import Section, link_to


def unexplained_section(request: HttpRequest, account: BankAccount) -> Section:
    rows = [(line.date, link_to(line, line.text), line.amount) for line in selectors.unexplained(account)[:30]]
    return Section("Statement lines not matched yet", ["Date", "Text", "Amount"], rows, "None: every line is matched.")


@admin.register(BankAccount)
class BankAccountAdmin(RoomAdmin[BankAccount]):
    list_display = ("name", "account")
    list_select_related = ("account",)
    fieldsets = (
        (None, {"fields": ("name", "account")}),
        (
            "For payment files",
            {"fields": ("bsb", "account_number", "bank_letters", "user_name", "user_id", "remitter", "balanced")},
        ),
    )
    section_makers = (unexplained_section,)
