"""Sport vouchers, and the claims by which the departments are asked for them."""

from django.db import models
from django.db.models import Q
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.fees.models.accounts import Charge
from clubdesk.fees.states import VOUCHER
from clubdesk.ledger.models import Document, Party
from clubdesk.money import Cents, nil
from clubdesk.roll.models import Person


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

    def __str__(self) -> str:
        return self.name


class VoucherValue(models.Model):
    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="values")
    calendar_year = models.PositiveSmallIntegerField()
    amount = Cents()

    class Meta:
        ordering = ["-calendar_year"]
        constraints = [
            models.UniqueConstraint(
                fields=["scheme", "calendar_year"],
                name="fees_voucher_value_once_a_year",
                violation_error_message="The scheme has a value for that year already.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_voucher_value_above_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.scheme} {self.calendar_year}"


class Lodgement(Document):
    """A batch of vouchers sent to the department, and the day it paid; or a part of one that it paid by itself."""

    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="lodgements")
    lodged_on = models.DateField()
    paid_on = models.DateField(null=True, blank=True)
    part_of = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="parts")

    class Meta:
        ordering = ["-lodged_on", "-pk"]

    def __str__(self) -> str:
        part = f", part of {self.part_of_id}," if self.part_of_id else ""
        return f"Lodgement {self.pk}{part} of {day_text(self.lodged_on)}"

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
    first_charge = models.ForeignKey(
        Charge, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="first set against",
        help_text="Where that was called off after it was claimed, and it pays another fee of the child now.",
    )  # fmt: skip
    code = models.CharField(max_length=30)
    calendar_year = models.PositiveSmallIntegerField(editable=False)
    amount = Cents()
    short_by = Cents(default=nil, help_text="What the department paid less than was claimed; the family owes it.")
    accepted_on = models.DateField()
    state = models.CharField(max_length=8, choices=VoucherState.choices, default=VoucherState.ACCEPTED)
    lodgement = models.ForeignKey(Lodgement, models.PROTECT, null=True, blank=True, related_name="vouchers")
    ended_on = models.DateField("refused or released on", null=True, blank=True)
    end_reason = models.CharField("why", max_length=150, blank=True)

    entries_follow_from = ("state", "short_by")

    class Meta:
        ordering = ["-accepted_on", "-pk"]
        constraints = [
            VOUCHER.constraint("fees_voucher_state_is_one"),
            models.UniqueConstraint(
                fields=["scheme", "code"],
                condition=~Q(state__in=NOTHING_CLAIMED),
                name="fees_voucher_code_once",
                violation_error_message="This voucher code has been used already; check it with the family.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_voucher_above_nil"),
            models.CheckConstraint(condition=Q(short_by__gte=0), name="fees_voucher_short_not_below_nil"),
        ]

    def __str__(self) -> str:
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
        asked: Money = self.amount + self.short_by
        return asked
