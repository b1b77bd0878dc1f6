"""Financial years, entries and their lines, and what is stored of a locked month."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.clock import long_day
from clubdesk.ledger.models.chart import (
    Account,
    Fund,
    Party,
)
from clubdesk.money import Cents, nil, shown


class FinancialYear(models.Model):
    first_day = models.DateField(unique=True)
    last_day = models.DateField(unique=True)
    locked_through = models.DateField(null=True, blank=True, editable=False)
    closed_at = models.DateTimeField("closed", null=True, blank=True, editable=False)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, editable=False, related_name="+"
    )

    class Meta:
        ordering = ["-first_day"]
        constraints = [
            models.CheckConstraint(condition=Q(last_day__gt=F("first_day")), name="ledger_year_order"),
            models.CheckConstraint(
                condition=Q(closed_at=None) | Q(locked_through=F("last_day")), name="ledger_closed_is_locked"
            ),
        ]
        permissions = [
            ("lock_month", "Can lock a month"),
            ("close_year", "Can close a financial year"),
            ("export_year", "Can export the treasurer's workbook"),
        ]

    def __str__(self) -> str:
        return f"Year to {long_day(self.last_day)}"

    @property
    def is_closed(self) -> bool:
        return self.closed_at is not None


class JournalEntry(models.Model):
    """One balanced entry. Written once, sealed, and never changed; a mistake is put right by its reversal."""

    number = models.PositiveIntegerField(unique=True)
    date = models.DateField()
    year = models.ForeignKey(
        FinancialYear, models.PROTECT, null=True, blank=True, related_name="entries",
        help_text="None for what was there before the first year.",
    )  # fmt: skip
    narration = models.CharField(max_length=300)
    source_type = models.CharField(max_length=60)
    source_id = models.PositiveBigIntegerField()
    purpose = models.CharField(max_length=40)
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")
    is_closing = models.BooleanField("closing entry", default=False)
    posted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    posted_at = models.DateTimeField()
    previous_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)
    sealed = models.BooleanField(default=False)

    class Meta:
        ordering = ["-number"]
        verbose_name_plural = "journal entries"
        constraints = [
            models.UniqueConstraint(
                fields=["source_type", "source_id", "purpose"],
                name="ledger_entry_posts_once",
                violation_error_message="This was posted already.",
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="ledger_entry_number_from_one"),
        ]
        indexes = [models.Index(fields=["date"])]

    def __str__(self) -> str:
        return f"Entry {self.number}"


class Posting(models.Model):
    """A line of an entry: debit positive, credit negative."""

    entry = models.ForeignKey(JournalEntry, models.PROTECT, related_name="postings")
    account = models.ForeignKey(Account, models.PROTECT, related_name="postings")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="postings", verbose_name="who")
    amount = Cents()

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(amount=0), name="ledger_posting_not_nil")]

    def __str__(self) -> str:
        return f"{self.account} {shown(self.amount)}"

    @property
    def debit(self) -> Money:
        debit: Money = max(self.amount, nil())
        return debit

    @property
    def credit(self) -> Money:
        credit: Money = max(-self.amount, nil())
        return credit


class MonthBalance(models.Model):
    """What an account, fund and party stood at when a locked month ended, so that no report reads old postings.

    `balance` is cumulative from the first entry and leaves closing entries out; `closing` is the cumulative
    effect of the closing entries alone. Debit positive.
    """

    month_end = models.DateField()
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, null=True, related_name="+", verbose_name="who")
    balance = Cents(default=nil)
    closing = Cents(default=nil)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["month_end", "account", "fund", "party"],
                name="ledger_month_balance_of_party_once",
                violation_error_message="What that month stood at is stored already.",
            ),
            models.UniqueConstraint(
                fields=["month_end", "account", "fund"],
                condition=Q(party=None),
                name="ledger_month_balance_once",
                violation_error_message="What that month stood at is stored already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month_end} {self.account_id}"
