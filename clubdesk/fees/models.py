"""What things cost, who owes it, and what was paid: the fee schedule, charges, receipts, vouchers."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.ledger.models import Account, Document, Party, Role, TaxCode
from clubdesk.ledger.selectors import account
from clubdesk.money import AmountField, nil
from clubdesk.roll.models import Household, Person


class FeeKind(models.TextChoices):
    MEMBERSHIP = "membership", "Membership"
    COURSE = "course", "Course"
    HIRE = "hire", "Gear hire, member"
    VISITOR = "visitor", "Visitor with gear"
    BESIDE = "beside", "Parent beside a child"
    OTHER = "other", "Other"


class FeeItem(models.Model):
    """One line of the fee schedule; its price by date stands in `FeePrice`."""

    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=FeeKind.choices)
    income_account = models.ForeignKey(Account, models.PROTECT, related_name="+", limit_choices_to={"kind": "income"})
    tax_code = models.CharField("GST", max_length=7, choices=TaxCode.choices, default=TaxCode.NONE)

    class Meta:
        ordering = ["kind", "name"]

    def __str__(self):
        return self.name


class FeePrice(models.Model):
    """What an item costs from a day on, until the next price starts or `valid_until` has passed."""

    item = models.ForeignKey(FeeItem, models.PROTECT, related_name="prices")
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)
    amount = AmountField()

    class Meta:
        ordering = ["item", "-valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["item", "valid_from"], name="fees_price_one_from_a_day"),
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=F("valid_from")), name="fees_price_order"
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_price_above_nil"),
        ]

    def __str__(self):
        return f"{self.item} from {day_text(self.valid_from)}"


class FeeShare(models.Model):
    """The part of a price that is not the club's own income of that item.

    It goes to an association (Affiliation payable, with its party) or to another income account.
    """

    price = models.ForeignKey(FeePrice, models.PROTECT, related_name="shares")
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    party = models.ForeignKey(
        Party,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        limit_choices_to={"kind": "association"},
    )
    amount = AmountField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["price", "account", "party"], name="fees_share_once"),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_share_above_nil"),
        ]

    def __str__(self):
        return f"{self.party or self.account}"


class OpeningBalances(Document):
    """What the households owed, or were in credit by, when the club began to keep its books here: one entry for all.

    Each stands as a charge or a receipt of the household, so that it is paid and used like any other.
    """

    as_at = models.DateField()

    class Meta:
        ordering = ["-pk"]
        verbose_name = verbose_name_plural = "opening balances"

    def __str__(self):
        return f"Balances brought in, {day_text(self.as_at)}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"opening"}


class Charge(Document):
    """A household owes a fee. It becomes income on `starts_on`, the day the thing paid for starts."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="charges")
    person = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="charges")
    price = models.ForeignKey(FeePrice, models.PROTECT, null=True, blank=True, related_name="charges")
    opening = models.ForeignKey(OpeningBalances, models.PROTECT, null=True, blank=True, related_name="charges")
    description = models.CharField(max_length=150)
    amount = AmountField()
    charged_on = models.DateField()
    starts_on = models.DateField()
    recognised_on = models.DateField(null=True, blank=True)
    taken_back_on = models.DateField(
        null=True, blank=True, help_text="From this day no more than `kept` is owed, whatever becomes of its vouchers."
    )
    kept = AmountField(default=0, help_text="What the club keeps of a fee that was taken back.")

    class Meta:
        ordering = ["-charged_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_charge_above_nil"),
            models.CheckConstraint(condition=Q(kept__gte=0, kept__lte=F("amount")), name="fees_charge_keeps_a_part"),
            models.CheckConstraint(
                condition=Q(price__isnull=False, opening=None)
                | Q(price=None, opening__isnull=False, starts_on=F("charged_on")),
                name="fees_charge_has_a_price_or_was_brought_in",
            ),
        ]

    def __str__(self):
        return self.description

    @property
    def waits(self) -> bool:
        """Whether the fee was charged before the thing paid for starts."""
        return self.starts_on > self.charged_on

    @property
    def named(self) -> str:
        """What the ledger calls it: no person's name stands in a sealed entry, so that one can be blanked later."""
        return f"{self.price.item if self.price else 'Balance brought in'} (charge {self.pk})"

    @property
    def income(self) -> Account:
        """Where the club's own part of it goes; a balance brought in came out of what the club had accumulated."""
        return self.price.item.income_account if self.price else account(Role.ACCUMULATED)

    @property
    def entries_called_for(self) -> set[str]:
        if self.opening_id:
            return set()
        return {"charge", "recognise"} if self.waits and self.recognised_on else {"charge"}


class ChargeShare(models.Model):
    """The part of a charge that goes to an association, or to another income account, as its price said at the time."""

    charge = models.ForeignKey(Charge, models.PROTECT, related_name="shares")
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    amount = AmountField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["charge", "account", "party"], name="fees_charge_share_once"),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_charge_share_above_nil"),
        ]

    def __str__(self):
        return f"{self.party or self.account}: {self.charge}"


class ChargeCredit(Document):
    """Part or all of a charge taken back, for instance when a place is withdrawn."""

    charge = models.ForeignKey(Charge, models.PROTECT, related_name="credits")
    amount = AmountField()
    credited_on = models.DateField()
    reason = models.CharField(max_length=150)
    from_advance = models.BooleanField("before it started", default=False)

    class Meta:
        ordering = ["-credited_on", "-pk"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="fees_credit_above_nil")]

    def __str__(self):
        return f"Credit: {self.charge}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"credit"}


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
    household = models.ForeignKey(Household, models.PROTECT, related_name="receipts")
    method = models.CharField(max_length=8, choices=Method.choices)
    amount = AmountField()
    rounding = AmountField(
        "cash rounding",
        default=0,
        help_text="Settled but not handed over; negative where more was handed over.",
    )
    received_on = models.DateField()
    reference = models.CharField(max_length=60, blank=True)
    opening = models.ForeignKey(OpeningBalances, models.PROTECT, null=True, blank=True, related_name="receipts")
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-received_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_receipt_above_nil"),
            models.CheckConstraint(condition=Q(method="cash") | Q(rounding=0), name="fees_only_cash_is_rounded"),
            models.CheckConstraint(
                condition=Q(method="brought", opening__isnull=False, cancelled_on=None)
                | (~Q(method="brought") & Q(opening=None)),
                name="fees_receipt_is_paid_or_was_brought_in",
            ),
            models.CheckConstraint(
                condition=Q(rounding__gt=Decimal("-0.05"), rounding__lt=Decimal("0.05")),
                name="fees_rounding_below_five_cents",
            ),
        ]

    def __str__(self):
        return f"Receipt {self.number}"

    @property
    def handed_over(self) -> Money:
        return self.amount - self.rounding

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on or self.opening_id else {"receipt"}


class WriteOff(Document):
    """Part or all of a charge that the club no longer expects to be paid; taken up again where it is paid after all."""

    charge = models.ForeignKey(Charge, models.PROTECT, related_name="write_offs")
    amount = AmountField()
    written_off_on = models.DateField()
    reason = models.CharField(max_length=150)
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-written_off_on", "-pk"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="fees_write_off_above_nil")]

    def __str__(self):
        return f"Written off: {self.charge}"

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on else {"written_off"}


class Arrangement(Document):
    """A household pays what it owes in parts, each by a day. At most one stands at a time."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="arrangements")
    agreed_on = models.DateField()
    note = models.CharField(max_length=150, blank=True)
    ended_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-agreed_on", "-pk"]
        verbose_name = "payment arrangement"
        constraints = [
            models.UniqueConstraint(
                fields=["household"], condition=Q(ended_on=None), name="fees_one_standing_arrangement"
            )
        ]

    def __str__(self):
        return f"Arrangement of {self.household}, {day_text(self.agreed_on)}"


class ArrangementPart(models.Model):
    arrangement = models.ForeignKey(Arrangement, models.PROTECT, related_name="parts")
    due_on = models.DateField()
    amount = AmountField()

    class Meta:
        ordering = ["due_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["arrangement", "due_on"], name="fees_one_part_a_day"),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_part_above_nil"),
        ]

    def __str__(self):
        return day_text(self.due_on)


class Repayment(Document):
    """A household's credit paid back to it from the bank."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="repayments")
    amount = AmountField()
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

    def __str__(self):
        return f"Credit repaid to {self.household}"

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.returned_on else {"repaid"}


class PaidBack(Document):
    """What a household gets from the bank once somebody else has approved it. A payment that the bank returns is
    taken back, and the document waits to be paid again; each payment has a purpose of its own in the ledger.
    """

    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    decided_on = models.DateField(null=True, blank=True)
    decision_reason = models.CharField(max_length=200, blank=True)
    paid_on = models.DateField(null=True, blank=True)
    payment_reference = models.CharField(max_length=60, blank=True)
    times_returned = models.PositiveSmallIntegerField("payments returned by the bank", default=0)

    state: str

    class Meta:
        abstract = True

    @property
    def pay_purpose(self) -> str:
        return f"pay {self.times_returned + 1}" if self.times_returned else "pay"

    @property
    def entries_called_for(self) -> set[str]:
        if self.state == "paid":
            return {"approve", self.pay_purpose}
        return {"approve"} if self.state == "approved" else set()


class AllocationQuerySet(models.QuerySet):
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
    amount = AmountField()
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

    def __str__(self):
        return f"{self.receipt} → {self.charge or self.repayment}"


class VoucherScheme(models.Model):
    """A government department's sport voucher; what it is worth stands by calendar year."""

    name = models.CharField(max_length=80, unique=True)
    department = models.ForeignKey(Party, models.PROTECT, related_name="+", limit_choices_to={"kind": "department"})
    youngest = models.PositiveSmallIntegerField("youngest age", null=True, blank=True)
    oldest = models.PositiveSmallIntegerField("oldest age", null=True, blank=True)
    pays_memberships = models.BooleanField("pays memberships", default=True)
    pays_courses = models.BooleanField("pays courses", default=True)
    pays_other = models.BooleanField("pays other fees", default=True)
    per_year = models.PositiveSmallIntegerField("vouchers a child and calendar year", default=1)
    code_form = models.CharField(
        "form of its codes",
        max_length=30,
        blank=True,
        help_text="# stands for a digit, @ for a letter, all else for itself, as in SV########. Blank: any code.",
    )

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=Q(per_year__gte=1), name="fees_voucher_scheme_has_one")]

    def __str__(self):
        return self.name


class VoucherValue(models.Model):
    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="values")
    calendar_year = models.PositiveSmallIntegerField()
    amount = AmountField()

    class Meta:
        ordering = ["-calendar_year"]
        constraints = [
            models.UniqueConstraint(fields=["scheme", "calendar_year"], name="fees_voucher_value_once_a_year"),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_voucher_value_above_nil"),
        ]

    def __str__(self):
        return f"{self.scheme} {self.calendar_year}"


class Lodgement(Document):
    """A batch of vouchers sent to the department, and the day it paid."""

    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="lodgements")
    lodged_on = models.DateField()
    paid_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-lodged_on", "-pk"]

    def __str__(self):
        return f"Lodgement {self.pk} of {day_text(self.lodged_on)}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"paid"} if self.paid_on else set()


class VoucherState(models.TextChoices):
    """What became of a voucher. One that is released before it is lodged is not claimed, and can be used again."""

    ACCEPTED = "accepted", "Accepted"
    LODGED = "lodged", "Lodged"
    PAID = "paid", "Paid"
    REFUSED = "refused", "Refused"
    RELEASED = "released", "Not claimed"


NOTHING_CLAIMED = (VoucherState.REFUSED, VoucherState.RELEASED)
"""States in which a voucher pays nothing, and counts for nothing."""


class Voucher(Document):
    """A child's voucher set against a charge. `amount` is what the department owes: never more than the fee."""

    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="vouchers")
    person = models.ForeignKey(Person, models.PROTECT, related_name="vouchers")
    charge = models.ForeignKey(Charge, models.PROTECT, related_name="vouchers")
    code = models.CharField(max_length=30)
    calendar_year = models.PositiveSmallIntegerField(editable=False)
    amount = AmountField()
    short_by = AmountField(default=0, help_text="What the department paid less than was claimed; the family owes it.")
    accepted_on = models.DateField()
    state = models.CharField(max_length=8, choices=VoucherState.choices, default=VoucherState.ACCEPTED)
    lodgement = models.ForeignKey(Lodgement, models.PROTECT, null=True, blank=True, related_name="vouchers")
    ended_on = models.DateField("refused or released on", null=True, blank=True)
    end_reason = models.CharField("why", max_length=150, blank=True)

    class Meta:
        ordering = ["-accepted_on", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["scheme", "code"], condition=~Q(state__in=NOTHING_CLAIMED), name="fees_voucher_code_once"
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_voucher_above_nil"),
            models.CheckConstraint(condition=Q(short_by__gte=0), name="fees_voucher_short_not_below_nil"),
        ]

    def __str__(self):
        return f"{self.scheme} for {self.person}"

    @property
    def masked_code(self) -> str:
        return f"••••{self.code[-3:]}"

    @property
    def entries_called_for(self) -> set[str]:
        undone = {VoucherState.REFUSED: {"refuse"}, VoucherState.RELEASED: {"release"}}.get(VoucherState(self.state))
        return {"accept"} | (undone or ({"short"} if self.short_by > nil() else set()))

    @property
    def claimed(self) -> Money:
        """What the club asked of the department."""
        return self.amount + self.short_by
