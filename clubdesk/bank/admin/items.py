"""Screens of single payments: returned by the bank, or not going out after all."""

from django.contrib import admin

from clubdesk.bank import services
from clubdesk.bank.models import ItemState, PaymentItem
from clubdesk.money import shown
from clubdesk.roll.finding import of_family
from clubdesk.screens.fields import day_and_reason
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import amount_column, page_of
from clubdesk.screens.verbs import Facts, VerbPage


class EndPage(VerbPage[PaymentItem, PaymentItem]):
    """What the two ends of a payment share: the day and why, and that one is led back to its run."""

    target = "item"
    form_class = day_and_reason()

    def facts(self, target: PaymentItem) -> Facts:
        return [("Payment", target), ("Amount", target.amount)]

    def destination(self, target: PaymentItem, result: PaymentItem) -> str:
        return page_of(result.run)


class ReturnedPage(EndPage):
    slug = "returned"
    verb = services.record_returned
    intro = "Its entry is reversed, and what it was for waits to be paid again."
    button = "Record the return"

    def applies(self, target: PaymentItem) -> bool:
        return target.state == ItemState.PAID

    def facts(self, target: PaymentItem) -> Facts:
        return [*super().facts(target), ("Paid on", target.paid_on)]

    def done(self, target: PaymentItem, result: PaymentItem) -> str:
        return f"Returned: {shown(result.amount)}, {result}. Note new bank details before it is paid again."


class LeaveOutPage(EndPage):
    slug = "leave-out"
    verb = services.leave_out
    intro = "Leave it out before the bank has it, or say that the bank did not make it. It can go into another run."
    button = "It does not go out"

    def applies(self, target: PaymentItem) -> bool:
        return target.state == ItemState.WAITING

    def done(self, target: PaymentItem, result: PaymentItem) -> str:
        return f"{result.get_state_display()}: {result}."


@admin.register(PaymentItem)
class PaymentItemAdmin(DocumentAdmin[PaymentItem]):
    list_display = ("run", "household", "what", "amount_shown", "state")
    list_select_related = ("run", "household", "give_back__voucher__scheme__department")
    list_filter = ("state",)
    search_fields = ("household__name", "household__guardians__name", "=run__number")
    search_help_text = "A family or guardian, a run’s number, an amount or a payment reference"
    also_finds = (amount_in("amount"), of_family("household"))
    fields = ("run", "household", "what", "amount_shown", "state", "paid_on", "ended_on", "reason")
    readonly_fields = fields
    pages = (ReturnedPage(), LeaveOutPage())
    amount_shown = amount_column("amount", "Amount")

    @admin.display(description="For")
    def what(self, item: PaymentItem) -> str:
        return item.what
