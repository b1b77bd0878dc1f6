"""The cash box counted, and takings brought to the bank."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.ledger.models import Document
from clubdesk.money import Cents, as_amount, from_cents, nil, shown
from clubdesk.rangeday.models.days import RangeDay


class TillCount(Document):
    """The tin counted at the end of a day, and the card reader's slip, against what is expected of each.

    `opening` is what was in the tin besides the day's own fees: the float, and cash that households paid.
    """

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="till_counts")
    opening = Cents("cash already in the box", default=nil)
    expected = Cents()
    counted = Cents()
    card_receipts = Cents("families' fees on the slip", default=nil)
    card_expected = Cents("expected by card", default=nil)
    card_slip = Cents("card slip", default=nil)
    reason = models.CharField(max_length=150, blank=True)
    second_counter = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reopened_on = models.DateField(null=True, blank=True)
    reopen_reason = models.CharField(max_length=150, blank=True)
    reopened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-pk"]
        verbose_name = "count of the cash box"
        verbose_name_plural = "counts of the cash box"
        constraints = [
            models.UniqueConstraint(
                fields=["range_day"],
                condition=Q(reopened_on=None),
                name="rangeday_one_count_stands",
                violation_error_message="This range day was counted already.",
            ),
            models.CheckConstraint(
                condition=Q(counted=F("expected"), card_slip=F("card_expected")) | ~Q(reason=""),
                name="rangeday_difference_has_a_reason",
            ),
            models.CheckConstraint(condition=~Q(second_counter=F("recorded_by")), name="rangeday_two_people_count"),
            models.CheckConstraint(
                condition=Q(reopened_on=None) | ~Q(reopen_reason="") & Q(reopened_by__isnull=False),
                name="rangeday_reopened_by_somebody_for_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"Count of the cash box, {self.range_day}"

    @property
    def difference(self) -> Money:
        """Positive where the tin holds more than expected."""
        return as_amount(self.counted - self.expected)

    @property
    def card_difference(self) -> Money:
        """Positive where the reader took more than the sheet says."""
        return as_amount(self.card_slip - self.card_expected)

    @property
    def entries_called_for(self) -> set[str]:
        differs = self.counted != self.expected or self.card_slip != self.card_expected
        return {"difference"} if differs and not self.reopened_on else set()

    @property
    def why_undone(self) -> str:
        return self.reopen_reason


class CountedPiece(models.Model):
    """So many notes or coins of one worth in a count."""

    till_count = models.ForeignKey(
        TillCount, models.PROTECT, related_name="pieces", verbose_name="count of the cash box"
    )
    cents = models.PositiveIntegerField()
    number = models.PositiveIntegerField()

    class Meta:
        ordering = ["-cents"]
        constraints = [
            models.UniqueConstraint(
                fields=["till_count", "cents"],
                name="rangeday_piece_counted_once",
                violation_error_message="This note or coin was counted already; write one number for it.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} of {shown(from_cents(self.cents))}"


class RangeCount(Document):
    """The cash box as helpers counted it at the range, before who may close the day posts it; the latest one counts.

    `pieces` says how many of each note and coin, by its cents as text. The second of the two confirms it by their own
    sign-in, or is only named.
    """

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="range_counts")
    pieces = models.JSONField(default=dict, blank=True)
    counted = Cents()
    card_slip = Cents("card slip", null=True, blank=True)
    note = models.CharField(max_length=150, blank=True)
    second_counter = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    confirmed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "count at the range"
        verbose_name_plural = "counts at the range"
        default_permissions = ()
        constraints = [
            models.CheckConstraint(
                condition=~Q(second_counter=F("recorded_by")), name="rangeday_two_count_at_the_range"
            )
        ]

    def __str__(self) -> str:
        return f"Count at the range, {self.range_day}"

    @property
    def counted_pieces(self) -> dict[int, int]:
        return {int(cents): number for cents, number in self.pieces.items()}


class Banking(Document):
    """Takings brought from the till to the bank."""

    amount = Cents()
    banked_on = models.DateField()
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-banked_on", "-pk"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="rangeday_banks_above_nil")]

    def __str__(self) -> str:
        return f"Takings banked on {day_text(self.banked_on)}"

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on else {"banked"}
