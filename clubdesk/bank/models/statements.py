"""The bank's own statements: files, lines, what they are matched with, rules, and months signed off."""

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.bank.models.accounts import BankAccount
from clubdesk.clock import day_text
from clubdesk.ledger.models import Account, Document, Fund, Party, Posting
from clubdesk.money import Cents, nil


class StatementImport(Document):
    """A statement brought in from a file, and how many of its lines were new."""

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="imports")
    file_name = models.CharField("file", max_length=120)
    file_digest = models.CharField(max_length=64)
    form = models.CharField(max_length=4)
    first_day = models.DateField()
    last_day = models.DateField()
    opening = Cents("opening balance", null=True, blank=True)
    closing = Cents("closing balance", null=True, blank=True)
    brought = models.PositiveIntegerField("lines imported")
    known = models.PositiveIntegerField("lines known before")
    note = models.CharField(max_length=250, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "statement file"

    def __str__(self) -> str:
        return f"{self.file_name}, {day_text(self.first_day)} to {day_text(self.last_day)}"


class StatementLine(Document):
    """A line of a bank statement: money in positive, money out negative. It posts nothing; it is explained."""

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="lines")
    brought_by = models.ForeignKey(StatementImport, models.PROTECT, null=True, blank=True, related_name="lines")
    bank_id = models.CharField("the bank’s own number", max_length=80, blank=True)
    balance = Cents("balance after it", null=True, blank=True)
    date = models.DateField()
    amount = Cents(help_text="Money in positive, money out negative.")
    text = models.CharField(max_length=200)

    class Meta:
        ordering = ["-date", "-pk"]
        constraints = [models.CheckConstraint(condition=~Q(amount=0), name="bank_line_not_nil")]

    def __str__(self) -> str:
        return f"{day_text(self.date)}, {self.text}"


class HowSure(models.TextChoices):
    CERTAIN = "certain", "Certain"
    LIKELY = "likely", "Likely"
    POSSIBLE = "possible", "Possible"
    BY_HAND = "by_hand", "By hand"


class Clearing(Document):
    """That lines of a statement and entries of the ledger are the same money, and why. It posts nothing.

    It is complete once the database has found both sides to be the same sum. Undone it frees both, and stays. Two
    entries that the bank never shows may be matched with each other: from `settled_on` they are on their way no more.
    """

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="clearings")
    how_sure = models.CharField(max_length=8, choices=HowSure.choices)
    reasons = models.CharField(max_length=300)
    complete = models.BooleanField(default=False, editable=False)
    settled_on = models.DateField("no longer on their way from", null=True, blank=True)
    why_never = models.CharField("why the bank never shows them", max_length=150, blank=True)
    undone_on = models.DateField(null=True, blank=True)
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    undo_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "match"
        verbose_name_plural = "matches"
        constraints = [
            models.CheckConstraint(
                condition=Q(undone_on=None) | ~Q(undo_reason="") & Q(undone_by__isnull=False),
                name="bank_clearing_undone_with_a_reason",
            )
        ]

    def __str__(self) -> str:
        return f"Clearing {self.pk}"


class ClearedLine(models.Model):
    clearing = models.ForeignKey(Clearing, models.PROTECT, related_name="lines")
    line = models.ForeignKey(StatementLine, models.PROTECT, related_name="clearings")
    stands = models.BooleanField(default=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["line"],
                condition=Q(stands=True),
                name="bank_a_line_is_cleared_once",
                violation_error_message="This line is matched already.",
            )
        ]

    def __str__(self) -> str:
        return str(self.line)


class ClearedPosting(models.Model):
    clearing = models.ForeignKey(Clearing, models.PROTECT, related_name="postings")
    posting = models.ForeignKey(Posting, models.PROTECT, related_name="clearings")
    stands = models.BooleanField(default=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["posting"],
                condition=Q(stands=True),
                name="bank_a_posting_is_cleared_once",
                violation_error_message="That entry is matched with another line already.",
            )
        ]

    def __str__(self) -> str:
        return str(self.posting)


class Way(models.TextChoices):
    IN = "in", "Money in"
    OUT = "out", "Money out"


class BankRule(models.Model):
    """What the treasurer says of lines that come again and again, such as fees and interest."""

    name = models.CharField(max_length=60, unique=True)
    contains = models.CharField("the words contain", max_length=60)
    way = models.CharField("which way", max_length=3, choices=Way.choices)
    least = Cents("at least", null=True, blank=True)
    most = Cents("at most", null=True, blank=True)
    account = models.ForeignKey(Account, models.PROTECT, related_name="+", verbose_name="goes to the account")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="who")
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        verbose_name = "rule for bank lines"
        verbose_name_plural = "rules for bank lines"
        constraints = [
            models.CheckConstraint(condition=~Q(contains=""), name="bank_rule_contains_something"),
            models.CheckConstraint(
                condition=Q(least=None) | Q(most=None) | Q(least__lte=F("most")), name="bank_rule_range_in_order"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.account_id and self.account.is_money:
            raise ValidationError({"account": "A rule goes to income, expense or another account, not to the bank."})
        if self.account_id and self.account.needs_party and self.party_id is None:
            raise ValidationError({"party": f"{self.account} needs to say who owes or is owed."})
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValidationError({"most": "At most is less than at least."})

    def catches(self, text: str, amount: Money) -> bool:
        """Whether the rule speaks of a line with these words and this amount, money out negative."""
        size = abs(amount)
        return (
            (amount > nil()) == (self.way == Way.IN)
            and self.contains.casefold() in text.casefold()
            and (self.least is None or size >= self.least)
            and (self.most is None or size <= self.most)
        )


class Reconciliation(Document):
    """A month of a bank account, signed off: the bank's balance and the book's agree but for what is on its way.

    `deposits` the bank has not credited yet and `payments` it has not made yet, both above nil; `recorded_later` is
    what the month's own entries lack of it, money in positive, since it was recorded or undone in a later month. While
    it stands, nothing of the account that is dated in the month or before can change.
    """

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="reconciliations")
    month_end = models.DateField()
    statement_balance = Cents("the statement says")
    deposits = Cents("deposits not credited", default=nil)
    payments = Cents("payments not presented", default=nil)
    book_balance = Cents("the book says")
    recorded_later = Cents(default=nil)
    signed_on = models.DateField("signed off on")
    reopened_on = models.DateField(null=True, blank=True)
    reopened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    reopen_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-month_end", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["bank_account", "month_end"],
                condition=Q(reopened_on=None),
                name="bank_a_month_is_signed_off_once",
                violation_error_message="This month is signed off already.",
            ),
            models.CheckConstraint(
                condition=Q(reopened_on=None) | ~Q(reopen_reason="") & Q(reopened_by__isnull=False),
                name="bank_reopened_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bank_account}, {self.month_end:%B %Y}"
