"""What every document is, and the ledger's own: journals, months locked and unlocked."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clubdesk.evidence import evidence_path
from clubdesk.ledger.models.entries import FinancialYear
from clubdesk.ledger.states import UNLOCK


class Document(models.Model):
    """Something that happened, written down once by somebody. `key` makes writing it twice impossible."""

    key = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, editable=False, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    may_be_reversed = False
    """Whether its entry may stand reversed without the document itself saying so."""
    entries_follow_from: tuple[str, ...] | None = None
    """The columns that `entries_called_for` reads, where there are so many documents that no other should be read."""

    class Meta:
        abstract = True

    @property
    def entries_called_for(self) -> set[str]:
        """The purposes of the journal entries that this document's present state calls for."""
        return set()

    @property
    def why_undone(self) -> str:
        """Why its entries were reversed, as far as the document keeps a reason; the sealed entries hold none."""
        return str(getattr(self, "cancel_reason", ""))


class MonthLock(Document):
    """That months were locked, through `month_end`. Where they were not proven then, `lacking` says what of them was
    missing, a line each, and `reason` why they were locked all the same.
    """

    year = models.ForeignKey(FinancialYear, models.PROTECT, related_name="locks")
    month_end = models.DateField("locked through")
    locked_on = models.DateField()
    lacking = models.TextField("not proven", blank=True)
    reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "lock of months"
        verbose_name_plural = "locks of months"
        constraints = [
            models.CheckConstraint(condition=Q(lacking="") | ~Q(reason=""), name="ledger_unproven_lock_has_a_reason")
        ]

    def __str__(self) -> str:
        return f"Locked through {self.month_end:%B %Y}"


class UnlockState(models.TextChoices):
    ASKED = "asked", "Asked for"
    AGREED = "agreed", "Unlocked"
    DECLINED = "declined", "Declined"


class MonthUnlock(Document):
    """That a month which was locked by mistake is to be opened again, with every later one: one asks, another agrees.

    `stays_locked_through` is what remains locked then, none where nothing does; `done` the database notes itself.
    """

    year = models.ForeignKey(FinancialYear, models.PROTECT, related_name="unlocks")
    month_end = models.DateField("from the month to")
    stays_locked_through = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=150)
    asked_on = models.DateField()
    state = models.CharField(max_length=8, choices=UnlockState.choices, default=UnlockState.ASKED)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    decided_on = models.DateField(null=True, blank=True)
    answer = models.CharField("why declined", max_length=150, blank=True)
    done = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "month to be unlocked"
        verbose_name_plural = "months to be unlocked"
        permissions = [("agree_monthunlock", "Can agree that a month is unlocked")]
        constraints = [
            UNLOCK.constraint("ledger_unlock_state_is_one"),
            models.CheckConstraint(condition=~Q(reason=""), name="ledger_unlock_has_a_reason"),
            models.CheckConstraint(
                condition=~Q(state="agreed")
                | Q(decided_by__isnull=False, decided_on__isnull=False) & ~Q(decided_by=F("recorded_by")),
                name="ledger_unlock_is_agreed_to_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="declined") | ~Q(answer="") & Q(decided_by__isnull=False, decided_on__isnull=False),
                name="ledger_unlock_declined_with_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(stays_locked_through=None) | Q(stays_locked_through__lt=F("month_end")),
                name="ledger_unlock_leaves_earlier_months",
            ),
            models.UniqueConstraint(
                fields=["year"],
                condition=Q(state="asked"),
                name="ledger_one_unlock_waits",
                violation_error_message="Somebody has asked to unlock a month of this year already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month_end:%B %Y} to be unlocked"


class JournalOrigin(models.TextChoices):
    HAND = "hand", "By hand"
    FILE = "file", "From a file"
    OPENING = "opening", "Opening trial balance"
    ACCRUAL = "accrual", "Accrual"
    PREPAYMENT = "prepayment", "Prepayment"
    STOCK = "stock", "Stock counted"
    PROVISION = "provision", "Fees not expected"
    DEPRECIATION = "depreciation", "Depreciation"
    DISPOSAL = "disposal", "Equipment disposed of"
    GST = "gst", "GST of a period"
    CORRECTION = "correction", "Correction of an earlier year"


class Journal(Document):
    """A manual journal: what the treasurer writes by hand or imports from a file.

    On `reverse_on` it is undone by itself. `undone_reason` says why it was reversed, and can be erased.
    """

    date = models.DateField()
    narration = models.CharField(max_length=300)
    origin = models.CharField(max_length=12, choices=JournalOrigin.choices, default=JournalOrigin.HAND)
    reference = models.CharField(max_length=60, blank=True)
    reverse_on = models.DateField("undone by itself on", null=True, blank=True)
    receipt = models.FileField("document", upload_to=evidence_path, blank=True)
    receipt_type = models.CharField(max_length=20, blank=True)
    receipt_digest = models.CharField(max_length=64, blank=True)
    file_digest = models.CharField(max_length=64, blank=True, editable=False)
    corrects_year = models.ForeignKey(
        FinancialYear, models.PROTECT, null=True, blank=True, editable=False, related_name="+",
        verbose_name="corrects",
    )  # fmt: skip
    undone_reason = models.CharField("why undone", max_length=150, blank=True, editable=False)

    may_be_reversed = True

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["file_digest", "reference"],
                condition=Q(origin="file"),
                name="ledger_journal_file_read_once",
                violation_error_message="This entry of the file was imported already.",
            ),
            models.CheckConstraint(
                condition=Q(reverse_on=None) | Q(reverse_on__gt=F("date")), name="ledger_journal_reversed_later"
            ),
            models.CheckConstraint(
                condition=Q(origin="correction", corrects_year__isnull=False)
                | (~Q(origin="correction") & Q(corrects_year=None)),
                name="ledger_journal_corrects_a_year",
            ),
        ]

    def __str__(self) -> str:
        return self.narration

    @property
    def entries_called_for(self) -> set[str]:
        return {"journal"}

    @property
    def why_undone(self) -> str:
        return self.undone_reason
