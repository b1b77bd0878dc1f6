"""Bank accounts, card takings settled into them, and what their statements say."""

from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.ledger.models import Account, Document, Posting
from clubdesk.money import AmountField


class BankAccount(models.Model):
    name = models.CharField(max_length=60, unique=True)
    account = models.OneToOneField(
        Account, models.PROTECT, related_name="bank_account", limit_choices_to={"is_money": True}
    )

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name


class CardSettlement(Document):
    """Card takings paid into the bank by the card company, less its fee."""

    settled_on = models.DateField()
    takings = AmountField(help_text="What the readers took, before the fee.")
    fee = AmountField(default=0)

    class Meta:
        ordering = ["-settled_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(takings__gt=0), name="bank_settles_above_nil"),
            models.CheckConstraint(condition=Q(fee__gte=0, fee__lt=F("takings")), name="bank_fee_within_takings"),
        ]

    def __str__(self):
        return f"Card takings settled on {self.settled_on:%-d %b %Y}"

    @property
    def paid_in(self) -> Money:
        return self.takings - self.fee

    @property
    def entries_called_for(self) -> set[str]:
        return {"settled"}


class StatementLine(Document):
    """A line of a bank statement: money in positive, money out negative. It posts nothing; it is explained."""

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="lines")
    date = models.DateField()
    amount = AmountField(help_text="Money in positive, money out negative.")
    text = models.CharField(max_length=200)
    explained_by = models.OneToOneField(Posting, models.PROTECT, null=True, blank=True, related_name="statement_line")

    class Meta:
        ordering = ["-date", "-pk"]
        constraints = [models.CheckConstraint(condition=~Q(amount=0), name="bank_line_not_nil")]

    def __str__(self):
        return f"{self.date:%-d %b %Y}, {self.text}"
