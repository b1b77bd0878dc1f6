"""Containers cashed in, state events, and the entry fees that the fund refunds."""

import secrets
from datetime import date

from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.entryfund.states import CLAIM, UNDECIDED
from clubdesk.evidence import evidence_path
from clubdesk.fees.models import PaidBack
from clubdesk.ledger.models import Document, Fund
from clubdesk.money import Cents, from_cents
from clubdesk.roll.models import JUNIOR_CLASSES, Household, Person

CENTS_A_CONTAINER = 10
"""Source: Environment Protection Act 1993 (SA), Part 8 Division 2: ten cents a container."""


class PaidInto(models.TextChoices):
    BANK = "bank", "The bank"
    TILL = "till", "The cash box, in cash"


class ContainerReturn(Document):
    """Bottles and cans cashed in for the entry fund. `amount` is what the depot's receipt says."""

    returned_on = models.DateField()
    containers = models.PositiveIntegerField(help_text="As counted by the club.")
    amount = Cents(help_text="As the depot's receipt says.")
    paid_into = models.CharField(max_length=4, choices=PaidInto.choices)
    depot_receipt = models.CharField("depot receipt number", max_length=60, blank=True)
    receipt = models.FileField("depot receipt", upload_to=evidence_path, blank=True)
    receipt_type = models.CharField(max_length=20, blank=True)
    receipt_digest = models.CharField(max_length=64, blank=True)
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-returned_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="entryfund_return_above_nil"),
            models.CheckConstraint(
                condition=Q(cancelled_on=None) | ~Q(cancel_reason=""), name="entryfund_return_cancelled_with_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.containers} containers, {day_text(self.returned_on)}"

    @property
    def by_count(self) -> Money:
        """What the club's own count comes to at ten cents each."""
        return worth_of(self.containers)

    @property
    def difference(self) -> Money:
        """What the depot paid beyond the club's own count; negative where it paid less."""
        difference: Money = self.amount - self.by_count
        return difference

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on else {"cashed in"}


def worth_of(containers: int) -> Money:
    """What so many containers come to at the depot."""
    return from_cents(containers * CENTS_A_CONTAINER)


class BagCount(Document):
    """Bags that wait at the club on a day, and about how many containers are in them. An estimate, never money."""

    counted_on = models.DateField()
    bags = models.PositiveIntegerField()
    containers = models.PositiveIntegerField("containers, about", help_text="In all bags together, as you judge it.")

    class Meta:
        ordering = ["-counted_on", "-pk"]
        verbose_name = "count of bags waiting"
        verbose_name_plural = "counts of bags waiting"

    def __str__(self) -> str:
        return f"{self.bags} bags waiting, {day_text(self.counted_on)}"

    @property
    def worth(self) -> Money:
        """About what the depot would pay."""
        return worth_of(self.containers)


class Discipline(models.TextChoices):
    CLOUT = "clout", "Clout"
    FIELD = "field", "Field"
    TARGET = "target", "Target"
    INDOOR = "indoor", "Indoor"


class StateEvent(models.Model):
    name = models.CharField(max_length=80)
    discipline = models.CharField(max_length=6, choices=Discipline.choices)
    held_on = models.DateField("first day")
    ends_on = models.DateField("last day", null=True, blank=True, help_text="Blank: it lasts one day.")
    entries_close = models.DateField()
    fee = Cents("entry fee", help_text="For every age class that has none of its own below.")
    refund_up_to = Cents(null=True, blank=True, help_text="Blank: the whole entry fee.")
    refunded = models.BooleanField(default=True, help_text="Whether the entry fund refunds this event.")
    oldest_class = models.CharField(
        "oldest class refunded",
        max_length=8,
        choices=[(name, name) for name in JUNIOR_CLASSES],
        default=JUNIOR_CLASSES[-1],
    )

    class Meta:
        ordering = ["-held_on"]
        constraints = [
            models.UniqueConstraint(
                fields=["name", "held_on"],
                name="entryfund_event_once_a_day",
                violation_error_message="An event of that name on that day stands in the calendar already.",
            ),
            models.CheckConstraint(condition=Q(entries_close__lte=F("held_on")), name="entryfund_event_order"),
            models.CheckConstraint(condition=Q(fee__gt=0), name="entryfund_event_fee_above_nil"),
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("held_on")), name="entryfund_event_ends_after_it_starts"
            ),
            models.CheckConstraint(
                condition=Q(refund_up_to=None) | Q(refund_up_to__gt=0), name="entryfund_event_refund_above_nil"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {day_text(self.held_on)}"

    @property
    def last_day(self) -> date:
        return self.ends_on or self.held_on


class EventFee(models.Model):
    """What an age class pays to enter an event, where that is not the event's fee."""

    event = models.ForeignKey(StateEvent, models.CASCADE, related_name="fees")
    age_class = models.CharField(max_length=8, choices=[(name, name) for name in JUNIOR_CLASSES])
    amount = Cents("entry fee")

    class Meta:
        ordering = ["pk"]
        verbose_name = "fee of an age class"
        verbose_name_plural = "fees of age classes"
        constraints = [
            models.UniqueConstraint(
                fields=["event", "age_class"],
                name="entryfund_one_fee_a_class",
                violation_error_message="The event has a fee for that age class already.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="entryfund_class_fee_above_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.age_class}, {self.event}"


def _secret() -> str:
    """What the first migration asks for."""
    return secrets.token_urlsafe(24)


class ClaimState(models.TextChoices):
    RECORDED = "recorded", "Waiting for a decision"
    ASKED = "asked", "More is asked for"
    APPROVED = "approved", "Approved"
    DECLINED = "declined", "Declined"
    PAID = "paid", "Paid"


DECIDED = ("approved", "declined", "paid")


class EntryClaim(PaidBack):
    """A household asks for a child's entry fee back from the entry fund."""

    states = CLAIM
    person = models.ForeignKey(Person, models.PROTECT, related_name="entry_claims")
    household = models.ForeignKey(Household, models.PROTECT, related_name="entry_claims", verbose_name="family")
    event = models.ForeignKey(StateEvent, models.PROTECT, related_name="claims")
    amount = Cents()
    receipt_amount = Cents("the receipt says", null=True, blank=True)
    entry_shown = models.BooleanField("the entry is shown", default=True)
    by_family = models.BooleanField("sent by the family", default=False)
    claimed_on = models.DateField("asked for on")
    receipt = models.FileField(upload_to=evidence_path)
    receipt_type = models.CharField(max_length=20)
    receipt_digest = models.CharField(max_length=64)
    upload_digest = models.CharField(max_length=64, blank=True, editable=False)
    question = models.CharField(max_length=200, blank=True)
    answer = models.CharField(max_length=200, blank=True)
    state = models.CharField(max_length=8, choices=ClaimState.choices, default=ClaimState.RECORDED)

    class Meta:
        verbose_name = "refund request"
        ordering = ["-claimed_on", "-pk"]
        permissions = [("decide_entryclaim", "Can approve or decline a refund request")]
        constraints = [
            CLAIM.constraint("entryfund_claim_state_is_one"),
            models.UniqueConstraint(
                fields=["person", "event"],
                condition=~Q(state="declined"),
                name="entryfund_one_claim_a_junior_and_event",
                violation_error_message="This child has a refund request for that event already.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="entryfund_claim_above_nil"),
            models.CheckConstraint(
                condition=Q(decided_by=None) | ~Q(decided_by=F("recorded_by")),
                name="entryfund_nobody_decides_what_they_recorded",
            ),
            models.CheckConstraint(
                condition=Q(state__in=UNDECIDED, decided_by=None)
                | Q(state__in=DECIDED, decided_by__isnull=False, decided_on__isnull=False),
                name="entryfund_decision_has_a_person_and_a_day",
            ),
            models.CheckConstraint(condition=~Q(state="asked") | ~Q(question=""), name="entryfund_asked_what"),
            models.CheckConstraint(
                condition=~Q(state="declined") | ~Q(decision_reason=""),
                name="entryfund_declined_with_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(state="paid", paid_on__isnull=False) | ~Q(state="paid") & Q(paid_on=None),
                name="entryfund_paid_has_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.event}"


class MoreEvidence(Document):
    """A further file that a family sent when it was asked for more."""

    claim = models.ForeignKey(EntryClaim, models.PROTECT, related_name="more")
    file = models.FileField(upload_to=evidence_path)
    file_type = models.CharField(max_length=20)
    file_digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "more evidence"

    def __str__(self) -> str:
        return f"More for {self.claim}"


class FundTransfer(Document):
    """A committee moves money from one fund to another, by a decision that its minutes hold."""

    from_fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    to_fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    amount = Cents()
    moved_on = models.DateField()
    minute = models.CharField(
        "decided", max_length=150, help_text="The meeting and its minute, as the club names them."
    )

    class Meta:
        ordering = ["-moved_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="entryfund_moves_above_nil"),
            models.CheckConstraint(condition=~Q(from_fund=F("to_fund")), name="entryfund_moves_between_two_funds"),
            models.CheckConstraint(condition=~Q(minute=""), name="entryfund_moved_by_a_decision"),
        ]

    def __str__(self) -> str:
        return f"From {self.from_fund} to {self.to_fund}, {day_text(self.moved_on)}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"moved"}
