"""What volunteers paid for the club and get back."""

from django.db import models
from django.db.models import F, Q

from clubdesk.clock import day_text
from clubdesk.evidence import evidence_path
from clubdesk.expenses.states import EXPENSE
from clubdesk.fees.models import PaidBack
from clubdesk.ledger.models import Account, Fund
from clubdesk.money import Cents, nil
from clubdesk.roll.models import Household


class ExpenseState(models.TextChoices):
    RECORDED = "recorded", "Waiting for a decision"
    APPROVED = "approved", "Approved"
    DECLINED = "declined", "Declined"
    PAID = "paid", "Paid"


class Expense(PaidBack):
    """Something that a volunteer bought for the club; once approved it is an expense of the account and fund chosen."""

    states = EXPENSE
    household = models.ForeignKey(Household, models.PROTECT, related_name="expenses", verbose_name="volunteer’s family")
    what = models.CharField("what for", max_length=120)
    amount = Cents()
    tax = Cents("GST that the club gets back", default=nil)
    spent_on = models.DateField()
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    receipt = models.FileField(upload_to=evidence_path)
    receipt_type = models.CharField(max_length=20)
    receipt_digest = models.CharField(max_length=64)
    state = models.CharField(max_length=8, choices=ExpenseState.choices, default=ExpenseState.RECORDED)

    class Meta:
        ordering = ["-spent_on", "-pk"]
        permissions = [("decide_expense", "Can approve or decline a volunteer’s expense")]
        constraints = [
            EXPENSE.constraint("expenses_state_is_one"),
            models.UniqueConstraint(
                fields=["receipt_digest"],
                condition=~Q(state="declined"),
                name="expenses_one_claim_a_receipt",
                violation_error_message="This very receipt stands behind another expense already.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="expenses_above_nil"),
            models.CheckConstraint(condition=Q(tax__gte=0, tax__lt=F("amount")), name="expenses_tax_within_it"),
            models.CheckConstraint(condition=~Q(what=""), name="expenses_say_what_for"),
            models.CheckConstraint(
                condition=Q(decided_by=None) | ~Q(decided_by=F("recorded_by")),
                name="expenses_nobody_decides_what_they_recorded",
            ),
            models.CheckConstraint(
                condition=Q(state="recorded", decided_by=None)
                | Q(state__in=("approved", "declined", "paid"), decided_by__isnull=False, decided_on__isnull=False),
                name="expenses_decision_has_a_person_and_a_day",
            ),
            models.CheckConstraint(
                condition=~Q(state="declined") | ~Q(decision_reason=""), name="expenses_declined_with_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(state="paid", paid_on__isnull=False) | ~Q(state="paid") & Q(paid_on=None),
                name="expenses_paid_has_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what}, {day_text(self.spent_on)}"
