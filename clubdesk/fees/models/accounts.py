"""Who owes what, and what was paid: charges, credits, receipts, arrangements, and what pays what."""

from django.db import models
from django.db.models import F, Q, Value
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.fees.models.schedule import FeePrice
from clubdesk.ledger.models import Account, Document, Party, Role
from clubdesk.ledger.selectors import account
from clubdesk.money import Cents, nil
from clubdesk.roll.models import Household, Person


class OpeningBalances(Document):
    """What the households owed, or were in credit by, when the club began to keep its books here: one entry for all.

    Each stands as a charge or a receipt of the household, so that it is paid and used like any other.
    """

    as_at = models.DateField()

    class Meta:
        ordering = ["-pk"]
        verbose_name = verbose_name_plural = "opening balances"

    def __str__(self) -> str:
        return f"Balances brought in, {day_text(self.as_at)}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"opening"}


class Charge(Document):
    """A household owes a fee. It becomes income on `starts_on`, the day the thing paid for starts."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="charges", verbose_name="family")
    person = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="charges")
    price = models.ForeignKey(FeePrice, models.PROTECT, null=True, blank=True, related_name="charges")
    opening = models.ForeignKey(OpeningBalances, models.PROTECT, null=True, blank=True, related_name="charges")
    opened_for = models.ForeignKey(
        Account, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="for",
        help_text="What a balance that was brought in is owed for.",
    )  # fmt: skip
    description = models.CharField(max_length=150)
    amount = Cents()
    tax = Cents("GST in it", default=nil, editable=False)
    charged_on = models.DateField()
    starts_on = models.DateField()
    recognised_on = models.DateField(null=True, blank=True)
    taken_back_on = models.DateField(
        "credited on",
        null=True,
        blank=True,
        help_text="From this day no more than `kept` is owed, whatever becomes of its vouchers.",
    )
    kept = Cents(default=nil, help_text="What the club keeps of a fee that was credited.")
    carried_on = models.DateField(
        "called off on", null=True, blank=True,
        help_text="From this day what its vouchers have paid waits for the child's next fee, and is never its income.",
    )  # fmt: skip

    entries_follow_from = ("opening", "charged_on", "starts_on", "recognised_on")

    class Meta:
        ordering = ["-charged_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_charge_above_nil"),
            models.CheckConstraint(condition=Q(tax__gte=0, tax__lt=F("amount")), name="fees_charge_tax_within_it"),
            models.CheckConstraint(condition=Q(kept__gte=0, kept__lte=F("amount")), name="fees_charge_keeps_a_part"),
            models.CheckConstraint(
                condition=Q(price__isnull=False, opening=None, opened_for=None)
                | Q(price=None, opening__isnull=False, starts_on=F("charged_on")),
                name="fees_charge_has_a_price_or_was_brought_in",
            ),
            models.CheckConstraint(
                condition=Q(carried_on=None) | Q(recognised_on=None, taken_back_on__isnull=False, kept=0),
                name="fees_charge_called_off_is_no_income",
            ),
        ]

    def __str__(self) -> str:
        return self.description

    @property
    def is_taxed(self) -> bool:
        """Whether GST was posted with it, and so with what is credited or written off of it."""
        return bool(self.tax.amount)

    @property
    def waits(self) -> bool:
        """Whether the fee was charged before the thing paid for starts."""
        return self.starts_on > self.charged_on

    @property
    def named(self) -> str:
        """What the ledger calls it: no person's name stands in a sealed entry, so that one can be erased later."""
        return f"{self.price.item if self.price else 'Balance brought in'} (charge {self.pk})"

    @property
    def income(self) -> Account:
        """Where the club's own part of it goes; of a balance brought in, what it is owed for."""
        return self.price.item.income_account if self.price else self.opened_for or account(Role.ACCUMULATED)

    @property
    def entries_called_for(self) -> set[str]:
        if self.opening_id:
            return set()
        return {"charge", "recognise"} if self.waits and self.recognised_on else {"charge"}


class ChargeShare(models.Model):
    """The part of a charge that goes to an association, or to another income account, as its price said at the time."""

    charge = models.ForeignKey(Charge, models.PROTECT, related_name="shares")
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    party = models.ForeignKey(
        Party, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="association"
    )
    amount = Cents()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["charge", "account", "party"],
                name="fees_charge_share_once",
                violation_error_message="Who gets a share of this fee stands there once already.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_charge_share_above_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.party or self.account}: {self.charge}"


class ChargeCredit(Document):
    """Part or all of a charge taken back, for instance when a place is withdrawn."""

    charge = models.ForeignKey(Charge, models.PROTECT, related_name="credits")
    amount = Cents()
    tax = Cents("GST in it", default=nil, editable=False)
    credited_on = models.DateField()
    reason = models.CharField(max_length=150)
    from_advance = models.BooleanField("before it started", default=False)
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    entries_follow_from = ("cancelled_on",)

    class Meta:
        ordering = ["-credited_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_credit_above_nil"),
            models.CheckConstraint(condition=Q(tax__gte=0, tax__lte=F("amount")), name="fees_credit_tax_within_it"),
        ]

    def __str__(self) -> str:
        return f"Credit: {self.charge}"

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on else {"credit"}


class Method(models.TextChoices):
    CASH = "cash", "Cash"
    CARD = "card", "Card"
    TRANSFER = "transfer", "Bank transfer"
    BROUGHT = "brought", "Brought in"


PAID_BY = [Method.CASH, Method.CARD, Method.TRANSFER]
"""How a household pays; a credit brought in was paid before this book began."""


class Receipt(Document):
    """Money in from a household. `amount` is what it settles; cash handed over is `amount` less `rounding`."""

    number = models.PositiveIntegerField(unique=True, editable=False)
    household = models.ForeignKey(Household, models.PROTECT, related_name="receipts", verbose_name="family")
    method = models.CharField(max_length=8, choices=Method.choices)
    amount = Cents()
    rounding = Cents(
        "cash rounding",
        default=nil,
        help_text="Settled but not handed over; negative where more was handed over.",
    )
    received_on = models.DateField()
    reference = models.CharField(max_length=60, blank=True)
    opening = models.ForeignKey(OpeningBalances, models.PROTECT, null=True, blank=True, related_name="receipts")
    opened_for = models.ForeignKey(
        Account, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="for",
        help_text="What a credit that was brought in was paid ahead for, where that is known.",
    )  # fmt: skip
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    entries_follow_from = ("opening", "cancelled_on")

    class Meta:
        ordering = ["-received_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_receipt_above_nil"),
            models.CheckConstraint(condition=Q(method="cash") | Q(rounding=0), name="fees_only_cash_is_rounded"),
            models.CheckConstraint(
                condition=Q(method="brought", opening__isnull=False, cancelled_on=None)
                | (~Q(method="brought") & Q(opening=None, opened_for=None)),
                name="fees_receipt_is_paid_or_was_brought_in",
            ),
            models.CheckConstraint(
                condition=Q(rounding__gt=Value(-5), rounding__lt=Value(5)),
                name="fees_rounding_below_five_cents",
            ),
        ]

    def __str__(self) -> str:
        return f"Receipt {self.number}"

    @property
    def handed_over(self) -> Money:
        handed: Money = self.amount - self.rounding
        return handed

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on or self.opening_id else {"receipt"}


class WriteOff(Document):
    """Part or all of a charge that the club no longer expects to be paid; taken up again where it is paid after all."""

    charge = models.ForeignKey(Charge, models.PROTECT, related_name="write_offs")
    amount = Cents()
    tax = Cents("GST in it", default=nil, editable=False)
    written_off_on = models.DateField()
    reason = models.CharField(max_length=150)
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-written_off_on", "-pk"]
        verbose_name = "write-off"
        verbose_name_plural = "write-offs"
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_write_off_above_nil"),
            models.CheckConstraint(condition=Q(tax__gte=0, tax__lt=F("amount")), name="fees_write_off_tax_within_it"),
        ]

    def __str__(self) -> str:
        return f"Written off: {self.charge}"

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on else {"written_off"}


class Arrangement(Document):
    """A household pays what it owes in parts, each by a day. At most one stands at a time."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="arrangements", verbose_name="family")
    agreed_on = models.DateField()
    note = models.CharField(max_length=150, blank=True)
    ended_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-agreed_on", "-pk"]
        verbose_name = "payment arrangement"
        constraints = [
            models.UniqueConstraint(
                fields=["household"],
                condition=Q(ended_on=None),
                name="fees_one_standing_arrangement",
                violation_error_message="An arrangement of this family stands already; it ends before another is made.",
            )
        ]

    def __str__(self) -> str:
        return f"Arrangement of {self.household}, {day_text(self.agreed_on)}"


class ArrangementPart(models.Model):
    arrangement = models.ForeignKey(Arrangement, models.PROTECT, related_name="parts")
    due_on = models.DateField()
    amount = Cents()

    class Meta:
        ordering = ["due_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["arrangement", "due_on"],
                name="fees_one_part_a_day",
                violation_error_message="Two parts of an arrangement are due on one day; give each a day of its own.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_part_above_nil"),
        ]

    def __str__(self) -> str:
        return day_text(self.due_on)


class Repayment(Document):
    """A household's credit paid back to it from the bank."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="repayments", verbose_name="family")
    amount = Cents()
    paid_on = models.DateField()
    reference = models.CharField(max_length=60, blank=True)
    returned_on = models.DateField("returned by the bank on", null=True, blank=True)
    return_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-paid_on", "-pk"]
        verbose_name = "credit repaid"
        verbose_name_plural = "credits repaid"
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_repayment_above_nil"),
            models.CheckConstraint(
                condition=Q(returned_on=None) | ~Q(return_reason=""), name="fees_repayment_returned_with_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"Credit repaid to {self.household}"

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.returned_on else {"repaid"}

    @property
    def why_undone(self) -> str:
        return self.return_reason


class AllocationQuerySet(models.QuerySet["Allocation"]):
    def standing(self) -> "AllocationQuerySet":
        return self.filter(freed_on=None)


class Allocation(models.Model):
    """How much of a receipt pays a charge, or was paid back. What is not allocated is the household's credit.

    It stands from `used_on` until `freed_on`; then the receipt pays something else, and the row stays as history, so
    that a statement of an earlier day still knows what its money paid.
    """

    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="allocations")
    charge = models.ForeignKey(Charge, models.PROTECT, null=True, related_name="allocations")
    repayment = models.ForeignKey(Repayment, models.PROTECT, null=True, related_name="allocations")
    tied = models.ForeignKey("fees.TiedCredit", models.PROTECT, null=True, related_name="allocations")
    amount = Cents()
    used_on = models.DateField()
    freed_on = models.DateField(null=True, blank=True)

    objects = AllocationQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_allocation_above_nil"),
            models.CheckConstraint(
                condition=Q(freed_on=None) | Q(freed_on__gte=F("used_on")), name="fees_allocation_freed_after_use"
            ),
            models.CheckConstraint(
                condition=Q(charge=None, repayment__isnull=False) | Q(charge__isnull=False, repayment=None),
                name="fees_allocation_has_one_target",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.receipt} → {self.charge or self.repayment}"
