"""Screens of receipts, credits repaid and arrangements."""

from django.contrib import admin
from django.http import HttpRequest
from django.urls import reverse

from clubdesk.fees import services
from clubdesk.fees.models import Arrangement, Charge, Receipt, Repayment
from clubdesk.roll.finding import of_family
from clubdesk.screens.fields import PickMany, VerbForm, choose_from, day_and_reason
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import Section, amount_column, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage


class CancelReceiptPage(VerbPage[Receipt, Receipt]):
    slug = "cancel"
    verb = services.cancel_receipt
    target = "receipt"
    intro = "For a receipt recorded by mistake: the entry is reversed and what it paid is open again."
    button = "Cancel the receipt"
    form_class = day_and_reason("Cancelled on", "For instance: typed for the wrong family.")

    def applies(self, target: Receipt) -> bool:
        return target.cancelled_on is None

    def facts(self, target: Receipt) -> Facts:
        return [("From", target.household), ("Amount", target.amount), ("Received on", target.received_on)]

    def done(self, target: Receipt, result: Receipt) -> str:
        return f"{result} is cancelled."


class PayForm(VerbForm[Receipt]):
    charges = PickMany(
        Charge.objects.none(),
        label="What it is for",
        help_text="What is left over pays the oldest of the other fees.",
    )

    def prepare(self) -> None:
        rows = Charge.objects.filter(household=self.target.household, taken_back_on=None)
        choose_from(self, "charges", rows.order_by("charged_on", "pk"))


class PayPage(VerbPage[Receipt, Receipt]):
    slug = "pays"
    verb = services.pay_with
    target = "receipt"
    intro = "For a payment that was meant for another child or fee. The family owes the same, so nothing is posted."
    form_class = PayForm

    def applies(self, target: Receipt) -> bool:
        return target.cancelled_on is None

    def facts(self, target: Receipt) -> Facts:
        now = ", ".join(
            str(part.charge or part.repayment) for part in target.allocations.standing().select_related("charge")
        )
        return [("Amount", target.amount), ("Pays now", now or "nothing yet")]

    def done(self, target: Receipt, result: Receipt) -> str:
        return f"{result} pays what was chosen."


class ReceiptLink(LinkPage[Receipt]):
    slug = "pdf"
    title = "Receipt to print (PDF)"
    permission = "fees.view_charge"

    def url(self, target: Receipt) -> str:
        return reverse("admin:receipt_pdf", args=[target.pk])


def pays_section(request: HttpRequest, receipt: Receipt) -> Section:
    rows = [
        (link_to(part.charge) if part.charge else str(part.repayment), part.amount)
        for part in receipt.allocations.standing().select_related("charge", "repayment__household")
    ]
    return Section("What it pays", ["For", "Amount"], rows, "Nothing yet: it stands as credit.")


@admin.register(Receipt)
class ReceiptAdmin(DocumentAdmin[Receipt]):
    list_display = ("__str__", "household", "received_on", "method", "amount_shown", "cancelled_on")
    list_select_related = ("household",)
    list_filter = ("method",)
    search_fields = ("=number", "household__name", "household__guardians__name", "reference")
    search_help_text = (
        "A receipt number, a family or guardian, an amount, a payment reference or what was written with the payment"
    )
    also_finds = (amount_in("amount"), of_family("household"))
    date_hierarchy = "received_on"
    fields = (
        "household", "received_on", "method", "amount_shown", "rounding_shown", "reference",
        "cancelled_on", "cancel_reason", "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    pages = (ReceiptLink(), PayPage(), CancelReceiptPage())
    section_makers = (pays_section,)
    amount_shown = amount_column("amount", "Amount")
    rounding_shown = amount_column("rounding", "Cash rounding")


@admin.register(Repayment)
class RepaymentAdmin(DocumentAdmin[Repayment]):
    list_display = ("household", "paid_on", "amount_shown", "reference", "returned_on")
    list_select_related = ("household",)
    search_fields = ("household__name", "household__guardians__name", "reference")
    search_help_text = "A family or guardian, an amount, a payment reference or what the payment was called"
    also_finds = (amount_in("amount"), of_family("household"))
    fields = ("household", "paid_on", "amount_shown", "reference", "recorded_by", "returned_on", "return_reason")
    readonly_fields = fields
    amount_shown = amount_column("amount", "Amount")


@admin.register(Arrangement)
class ArrangementAdmin(DocumentAdmin[Arrangement]):
    list_display = ("household", "agreed_on", "ended_on", "note")
    list_select_related = ("household",)
    search_fields = ("household__name", "household__guardians__name")
    search_help_text = "A family or guardian, or a payment reference"
    also_finds = (of_family("household"),)
    fields = ("household", "agreed_on", "note", "ended_on", "recorded_by")
    readonly_fields = fields
