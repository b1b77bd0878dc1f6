"""What things cost: the fee schedule."""

from datetime import date

from django.db import models
from django.db.models import F, Q

from clubdesk.clock import day_text
from clubdesk.ledger.models import Account, Party, TaxCode
from clubdesk.money import Cents


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
    tax_code = models.CharField(
        "GST", max_length=7, choices=TaxCode.choices, default=TaxCode.NONE,
        help_text="Of all that was charged since the club registered; where it changes, add a new fee.",
    )  # fmt: skip
    sessions = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How many sessions it pays for; some sport vouchers ask for a least number."
    )
    weeks = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Over how many weeks; some sport vouchers ask for a least number."
    )

    class Meta:
        ordering = ["kind", "name"]

    def __str__(self) -> str:
        return self.name


class FeePrice(models.Model):
    """What an item costs from a day on, until the next price starts or `valid_until` has passed."""

    item = models.ForeignKey(FeeItem, models.PROTECT, related_name="prices")
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)
    amount = Cents()

    class Meta:
        ordering = ["item", "-valid_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "valid_from"],
                name="fees_price_one_from_a_day",
                violation_error_message="This fee has a price from that day already.",
            ),
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=F("valid_from")), name="fees_price_order"
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_price_above_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.item} from {day_text(self.valid_from)}"

    def has_ended_by(self, day: date) -> bool:
        """Whether it is no longer asked on that day, though no other price has begun."""
        return self.valid_until is not None and self.valid_until < day


class FeeShare(models.Model):
    """The part of a price that is not the club's own income of that item.

    It goes to an association (Affiliation payable, with its party) or to another income account.
    """

    price = models.ForeignKey(FeePrice, models.PROTECT, related_name="shares")
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    party = models.ForeignKey(
        Party,
        models.PROTECT,
        verbose_name="association",
        null=True,
        blank=True,
        related_name="+",
        limit_choices_to={"kind": "association"},
    )
    amount = Cents()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["price", "account", "party"],
                name="fees_share_once",
                violation_error_message="Who gets a share of this price stands there already.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_share_above_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.party or self.account}"
