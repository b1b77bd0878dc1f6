"""Takings brought to the bank."""

from django.contrib import admin

from clubdesk import clock
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import AmountFormField, as_amount, shown
from clubdesk.rangeday import services
from clubdesk.rangeday.models import Banking
from clubdesk.screens.fields import HappenedField, day_and_reason, form_of
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import amount_column
from clubdesk.screens.verbs import Facts, VerbPage


class BankTakingsPage(VerbPage[None, Banking]):
    verb = services.bank_takings
    intro = "Write down cash that was brought from the cash box to the bank."
    button = "Record the banking"
    form_class = form_of(amount=AmountFormField(), on=HappenedField(label="Banked on"))

    def facts(self, target: None) -> Facts:
        return [("In the cash box", as_amount(balance(Role.TILL, clock.today())))]

    def done(self, target: None, result: Banking) -> str:
        left = as_amount(balance(Role.TILL, clock.today()))
        return f"{shown(result.amount)} banked; {shown(left)} is left in the cash box."


class CancelBankingPage(VerbPage[Banking, Banking]):
    slug = "cancel"
    verb = services.cancel_banking
    target = "banking"
    intro = "For one written down wrongly: what was posted is reversed, and the money is in the cash box again."
    button = "Cancel the banking"
    form_class = day_and_reason("Cancelled on", "For instance: typed for the wrong family.")

    def applies(self, target: Banking) -> bool:
        return target.cancelled_on is None

    def facts(self, target: Banking) -> Facts:
        return [("Banked on", target.banked_on), ("Amount", target.amount)]

    def done(self, target: Banking, result: Banking) -> str:
        return f"Cancelled: {result}."


@admin.register(Banking)
class BankingAdmin(DocumentAdmin[Banking]):
    list_display = ("banked_on", "amount_shown", "recorded_by", "cancelled_on")
    list_select_related = ("recorded_by",)
    fields = ("banked_on", "amount_shown", "recorded_by", "cancelled_on", "cancel_reason")
    readonly_fields = fields
    add_page = BankTakingsPage()
    pages = (CancelBankingPage(),)
    amount_shown = amount_column("amount", "Amount")
