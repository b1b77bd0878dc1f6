"""Screens of the club's bank accounts, and of what two people say of their numbers."""

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk.bank import selectors, services
from clubdesk.bank.models import AccountChange, BankAccount, ChangeState
from clubdesk.ledger.models import Role
from clubdesk.screens.fields import VerbForm, form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin, RoomAdmin
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage, signed_in


def unexplained_section(request: HttpRequest, account: BankAccount) -> Section:
    rows = [(line.date, link_to(line, line.text), line.amount) for line in selectors.unexplained(account)[:30]]
    return Section("Statement lines not matched yet", ["Date", "Text", "Amount"], rows, "None: every line is matched.")


class AskForm(VerbForm[BankAccount]):
    holder = forms.CharField(label="Account name", max_length=70, help_text="As the bank knows it.")
    bsb = forms.CharField(label="BSB", max_length=7, required=False, help_text="Six digits, like 123-456.")
    account_number = forms.CharField(max_length=12, required=False, help_text="Two to nine digits.")
    iban = forms.CharField(
        label="IBAN", max_length=42, required=False, help_text="In place of BSB and number, where the bank gives one."
    )
    bic = forms.CharField(label="BIC", max_length=11, required=False, help_text="Only where the bank asks for it.")
    reason = reason_field("Why, and where the number stands: on the bank’s own letter, or in its app.")


class AskPage(VerbPage[BankAccount, AccountChange]):
    slug = "another-account"
    verb = services.ask_for_account
    target = "bank_account"
    asks_again = True
    intro = (
        "Families are told to pay into this account once somebody else has agreed. Until then nothing changes. Who"
        " asked, who agreed and why are kept."
    )
    button = "Ask for it"
    form_class = AskForm

    def applies(self, target: BankAccount) -> bool:
        return not target.changes.filter(state=ChangeState.ASKED).exists()

    def not_now(self, target: BankAccount) -> str:
        return "somebody has asked for another account already; decide on that first."

    def facts(self, target: BankAccount) -> Facts:
        return [("Until now", target.in_full or "none")]

    def done(self, target: BankAccount, result: AccountChange) -> str:
        return f"{result.in_full}: somebody else must agree before families are told."


class DecidePage(VerbPage[AccountChange, AccountChange]):
    """What agreeing and declining share."""

    target = "change"

    def applies(self, target: AccountChange) -> bool:
        return target.state == ChangeState.ASKED

    def not_now(self, target: AccountChange) -> str:
        return "it was decided already."

    def facts(self, target: AccountChange) -> Facts:
        given = [("BSB", target.bsb), ("Account number", target.account_number), ("IBAN", target.iban)]
        return [
            ("Account name", target.holder),
            *((label, text) for label, text in (*given, ("BIC", target.bic)) if text),
            ("In place of", target.replaces or "none"),
            ("Why", target.reason),
            ("Asked for by", target.recorded_by),
        ]


class AgreePage(DecidePage):
    slug = "agree"
    verb = services.agree_to_account
    asks_again = True
    intro = (
        "Compare each digit with the bank’s own letter, not with what you were sent. From now on every letter asks"
        " families to pay into this account."
    )
    button = "Agree to the account"

    def offered(self, request: HttpRequest, target: AccountChange) -> bool:
        return super().offered(request, target) and signed_in(request).pk != target.recorded_by_id

    def done(self, target: AccountChange, result: AccountChange) -> str:
        return f"Families pay into {result.in_full} from now on."


class DeclinePage(DecidePage):
    slug = "decline"
    verb = services.decline_account
    intro = "The account stays as it is."
    form_class = form_of(reason=reason_field())

    def done(self, target: AccountChange, result: AccountChange) -> str:
        return "Declined; the account stays as it is."


def changes_section(request: HttpRequest, account: BankAccount) -> Section | None:
    """Who asked for which number and who agreed, the newest first."""
    rows = [
        (each.asked_on, link_to(each, each.in_full), str(each.recorded_by), each.get_state_display(), each.decided_by)
        for each in account.changes.select_related("recorded_by", "decided_by")
    ]
    none = "None yet, so families are not told where to pay." if account.account.role == Role.BANK else "None."
    return Section("Its number, as two people said", ["Asked", "Account", "By", "State", "Decided by"], rows, none)


@admin.register(AccountChange)
class AccountChangeAdmin(DocumentAdmin[AccountChange]):
    list_display = ("__str__", "asked_on", "recorded_by", "state", "decided_by", "reason")
    list_select_related = ("bank_account", "recorded_by", "decided_by")
    list_filter = ("state",)
    fields = (
        "bank_account", "holder", "bsb", "account_number", "iban", "bic", "replaces", "reason", "asked_on",
        "recorded_by", "state", "decided_by", "decided_on", "answer",
    )  # fmt: skip
    readonly_fields = fields
    pages = (AgreePage(), DeclinePage())


@admin.register(BankAccount)
class BankAccountAdmin(RoomAdmin[BankAccount]):
    list_display = ("name", "account")
    list_select_related = ("account",)
    fieldsets = (
        (None, {"fields": ("name", "account")}),
        ("Where families pay", {"fields": ("holder", "bsb", "account_number", "iban", "bic")}),
        (
            "For payment files",
            {"fields": ("bank_letters", "user_name", "user_id", "remitter", "balanced")},
        ),
    )
    readonly_fields = ("holder", "bsb", "account_number", "iban", "bic")
    pages = (AskPage(),)
    section_makers = (changes_section, unexplained_section)
