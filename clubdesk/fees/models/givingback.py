"""Vouchers that a department paid and gets back, since the child left."""

from django.db import models
from django.db.models import Q

from clubdesk.fees.models.accounts import ChargeCredit
from clubdesk.fees.models.paidback import PaidBack
from clubdesk.fees.models.vouchers import Voucher
from clubdesk.fees.states import GIVE_BACK
from clubdesk.money import Cents
from clubdesk.roll.models import Household


class GiveBackState(models.TextChoices):
    APPROVED = "approved", "Owed to the department"
    PAID = "paid", "Paid"
    UNDONE = "undone", "Undone"


class GiveBack(PaidBack):
    """What of a paid voucher is owed to its department, by the department's own invoice; nobody has to approve it.

    `household` is the family whose fee the voucher paid, which gets nothing of it; `credit` is what of the fee nobody
    owed any more. One that is undone counts for nothing, and the voucher can be given back anew.
    """

    states = GIVE_BACK
    voucher = models.ForeignKey(Voucher, models.PROTECT, related_name="give_backs")
    household = models.ForeignKey(Household, models.PROTECT, related_name="give_backs", verbose_name="family")
    amount = Cents()
    credit = models.OneToOneField(
        ChargeCredit, models.PROTECT, null=True, blank=True, related_name="give_back", editable=False
    )
    asked_on = models.DateField("of the day")
    invoice = models.CharField("the department’s invoice", max_length=40)
    pay_to = models.CharField("to be paid to", max_length=120, help_text="The account as the invoice names it.")
    reason = models.CharField("why", max_length=150)
    state = models.CharField(max_length=8, choices=GiveBackState.choices, default=GiveBackState.APPROVED)
    undone_on = models.DateField(null=True, blank=True)
    undo_reason = models.CharField("why undone", max_length=150, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "voucher given back"
        verbose_name_plural = "vouchers given back"
        constraints = [
            GIVE_BACK.constraint("fees_give_back_state_is_one"),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_give_back_above_nil"),
            models.CheckConstraint(
                condition=~Q(invoice=""), name="fees_give_back_by_an_invoice",
                violation_error_message="Write the number of the department’s invoice.",
            ),
            models.UniqueConstraint(
                fields=["voucher"], condition=Q(undone_on=None), name="fees_give_back_once",
                violation_error_message="This voucher is given back already.",
            ),
            models.CheckConstraint(
                condition=Q(state="undone", undone_on__isnull=False) | ~Q(state="undone") & Q(undone_on=None),
                name="fees_give_back_undone_has_a_day",
            ),
            models.CheckConstraint(
                condition=Q(state="paid", paid_on__isnull=False) | ~Q(state="paid") & Q(paid_on=None),
                name="fees_give_back_paid_has_a_day",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"Voucher given back {self.pk}, invoice {self.invoice}"

    @property
    def why_undone(self) -> str:
        return self.undo_reason or super().why_undone
