"""What goes out of the bank in payment runs, and card takings settled into it."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.bank.models.accounts import BankAccount, BankDetails
from clubdesk.bank.states import PAYMENT, RUN
from clubdesk.clock import day_text
from clubdesk.entryfund.models import EntryClaim
from clubdesk.expenses.models import Expense
from clubdesk.fees.models import GiveBack, Repayment
from clubdesk.ledger.models import Document, Party
from clubdesk.money import Cents, nil
from clubdesk.roll.models import Household


class HowPaid(models.TextChoices):
    FILE = "file", "One Direct Entry file"
    SINGLE = "single", "Single transfers"


class RunState(models.TextChoices):
    MADE = "made", "Waits to be released"
    RELEASED = "released", "Released"
    WITHDRAWN = "withdrawn", "Withdrawn"


class PaymentRun(Document):
    """What the treasurer pays together; nothing of it goes out until a second person has released it."""

    number = models.PositiveIntegerField(unique=True, editable=False)
    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="runs")
    method = models.CharField("how", max_length=6, choices=HowPaid.choices)
    made_on = models.DateField()
    pay_on = models.DateField("the bank pays on")
    state = models.CharField(max_length=9, choices=RunState.choices, default=RunState.MADE)
    released_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    released_on = models.DateField(null=True, blank=True)
    withdraw_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-number"]
        permissions = [("release_paymentrun", "Can release a payment run")]
        constraints = [
            RUN.constraint("bank_run_state_is_one"),
            models.CheckConstraint(
                condition=Q(released_by=None) | ~Q(released_by=F("recorded_by")),
                name="bank_nobody_releases_what_they_made",
            ),
            models.CheckConstraint(
                condition=~Q(state="made") | Q(released_by=None), name="bank_a_run_made_is_not_released"
            ),
            models.CheckConstraint(
                condition=~Q(state="released") | Q(released_by__isnull=False, released_on__isnull=False),
                name="bank_released_has_a_person_and_a_day",
            ),
            models.CheckConstraint(
                condition=~Q(state="withdrawn") | ~Q(withdraw_reason=""), name="bank_withdrawn_with_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"Payment run {self.number}"


class ItemState(models.TextChoices):
    WAITING = "waiting", "Not paid yet"
    PAID = "paid", "Paid"
    RETURNED = "returned", "Returned by the bank"
    REFUSED = "refused", "Not made by the bank"
    LEFT_OUT = "left_out", "Left out"


class PaymentItem(models.Model):
    """A refund, an expense or a credit that a run pays to a household, or a voucher of it that goes back to its
    department; its own document posts it.
    """

    run = models.ForeignKey(PaymentRun, models.PROTECT, related_name="items")
    household = models.ForeignKey(Household, models.PROTECT, related_name="payments", verbose_name="family")
    claim = models.ForeignKey(
        EntryClaim, models.PROTECT, null=True, blank=True, related_name="payments", verbose_name="refund request"
    )
    expense = models.ForeignKey(Expense, models.PROTECT, null=True, blank=True, related_name="payments")
    give_back = models.ForeignKey(GiveBack, models.PROTECT, null=True, blank=True, related_name="payments")
    repayment = models.OneToOneField(Repayment, models.PROTECT, null=True, blank=True, related_name="payment")
    details = models.ForeignKey(BankDetails, models.PROTECT, null=True, blank=True, related_name="payments")
    amount = Cents()
    state = models.CharField(max_length=8, choices=ItemState.choices, default=ItemState.WAITING)
    paid_on = models.DateField(null=True, blank=True)
    ended_on = models.DateField("returned or left out on", null=True, blank=True)
    reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name = "payment"
        constraints = [
            PAYMENT.constraint("bank_payment_state_is_one"),
            models.CheckConstraint(condition=Q(amount__gt=0), name="bank_payment_above_nil"),
            models.CheckConstraint(
                condition=Q(claim=None, expense=None) | Q(claim=None, give_back=None) | Q(expense=None, give_back=None),
                name="bank_payment_for_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(repayment=None) | Q(claim=None, expense=None, give_back=None),
                name="bank_repayment_is_of_a_credit",
            ),
            models.CheckConstraint(
                condition=Q(give_back=None) | Q(details=None), name="bank_department_has_no_details_of_a_family"
            ),
            models.CheckConstraint(
                condition=Q(state__in=("paid", "returned"), paid_on__isnull=False)
                | Q(state__in=("waiting", "refused", "left_out"), paid_on=None),
                name="bank_payment_paid_has_a_day",
            ),
            models.CheckConstraint(
                condition=Q(state__in=("waiting", "paid")) | ~Q(reason=""), name="bank_payment_ended_with_a_reason"
            ),
            models.UniqueConstraint(
                fields=["claim"],
                condition=Q(state__in=("waiting", "paid")),
                name="bank_a_claim_is_paid_once",
                violation_error_message="This refund stands in another payment run already.",
            ),
            models.UniqueConstraint(
                fields=["expense"],
                condition=Q(state__in=("waiting", "paid")),
                name="bank_an_expense_is_paid_once",
                violation_error_message="This expense stands in another payment run already.",
            ),
            models.UniqueConstraint(
                fields=["give_back"],
                condition=Q(state__in=("waiting", "paid")),
                name="bank_a_voucher_goes_back_once",
                violation_error_message="This voucher stands in another payment run already.",
            ),
            models.UniqueConstraint(
                fields=["household"],
                condition=Q(state="waiting", claim=None, expense=None, give_back=None),
                name="bank_a_credit_waits_in_one_run",
                violation_error_message="This family’s credit stands in another payment run already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} to {self.payee}"

    @property
    def payee(self) -> Party | Household:
        """Who gets it: a family, or the department of a voucher that is given back."""
        return self.give_back.voucher.scheme.department if self.give_back else self.household

    @property
    def asked_for_at(self) -> datetime:
        """When what it is for was recorded; of a credit, when the run was made."""
        return (self.claim or self.expense or self.give_back or self.run).recorded_at

    @property
    def document(self) -> EntryClaim | Expense | GiveBack | Repayment | None:
        """What posts the payment; none yet for a credit that is not repaid."""
        return self.claim or self.expense or self.give_back or self.repayment

    @property
    def is_credit(self) -> bool:
        return self.claim_id is None and self.expense_id is None and self.give_back_id is None

    @property
    def what(self) -> str:
        if self.claim_id:
            return f"Entry fee refund {self.claim_id}"
        if self.give_back:
            return f"Voucher given back, invoice {self.give_back.invoice}"
        return f"Expense {self.expense_id}" if self.expense_id else "Credit"

    @property
    def reference(self) -> str:
        """What stands on the payee's statement; at most 18 characters."""
        if self.claim_id:
            return f"ENTRY FEE {self.claim_id}"
        if self.give_back:
            return f"INVOICE {self.give_back.invoice}"[:18]
        return f"EXPENSE {self.expense_id}" if self.expense_id else f"CREDIT {self.household_id}"


class PaymentFile(Document):
    """That the file of a run was made: the first time, or again. It is the same each time."""

    run = models.ForeignKey(PaymentRun, models.PROTECT, related_name="files")
    file_digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"File of {self.run}"


class CardSettlement(Document):
    """Card takings paid into the bank by the card company, less its fee."""

    settled_on = models.DateField()
    takings = Cents(help_text="What the readers took, before the fee.")
    fee = Cents(default=nil)

    class Meta:
        ordering = ["-settled_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(takings__gt=0), name="bank_settles_above_nil"),
            models.CheckConstraint(condition=Q(fee__gte=0, fee__lt=F("takings")), name="bank_fee_within_takings"),
        ]

    def __str__(self) -> str:
        return f"Card takings settled on {day_text(self.settled_on)}"

    @property
    def paid_in(self) -> Money:
        paid_in: Money = self.takings - self.fee
        return paid_in

    @property
    def entries_called_for(self) -> set[str]:
        return {"settled"}
