"""Screens of card takings as they are settled."""

from django.contrib import admin

from clubdesk.bank import selectors, services
from clubdesk.bank.models import CardSettlement
from clubdesk.money import AmountFormField
from clubdesk.screens.fields import HappenedField, form_of
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import amount_column, as_figure
from clubdesk.screens.verbs import Facts, VerbPage


class SettlePage(VerbPage[None, CardSettlement]):
    verb = services.settle_cards
    intro = "The card company paid takings into the bank, less its fee."
    button = "Record it"
    form_class = form_of(
        takings=AmountFormField(label="Takings", help_text="What the readers took, before the fee."),
        fee=AmountFormField(label="Fee", initial=0),
        on=HappenedField(label="Settled on"),
    )

    def facts(self, target: None) -> Facts:
        return [("Waiting to be settled", selectors.card_takings_waiting())]


@admin.register(CardSettlement)
class CardSettlementAdmin(DocumentAdmin[CardSettlement]):
    list_display = ("settled_on", "takings_shown", "fee_shown", "paid_in_shown")
    fields = ("settled_on", "takings_shown", "fee_shown", "paid_in_shown", "recorded_by")
    readonly_fields = fields
    add_page = SettlePage()
    takings_shown = amount_column("takings", "Takings")
    fee_shown = amount_column("fee", "Fee")

    @admin.display(description="Paid in")
    def paid_in_shown(self, settlement: CardSettlement) -> str:
        return as_figure(settlement.paid_in)
