"""What the reports keep so that no page reads old postings: derived figures only, never a document."""

from django.db import models
from django.db.models import Q

from clubdesk.ledger.models import Account, Fund
from clubdesk.money import Cents


class What(models.TextChoices):
    CASH = "cash", "Money"
    ACCOUNT = "account", "A balance sheet account"
    BETWEEN = "between", "Moved between lines"
    HAND = "hand", "By hand"


class MonthTrace(models.Model):
    """How a line of the statements stood, by what moved it, when a locked month ended. Cumulative from the first entry.

    `line` is the income, expense or other account that money was for. `what` says what moved for it: money, a balance
    sheet account (`against`), or another line. What adds to the club's surplus is positive. Apart from these stands
    what manual journals moved in the account itself, debit positive.
    """

    month_end = models.DateField()
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    line = models.ForeignKey(Account, models.PROTECT, related_name="+")
    against = models.ForeignKey(Account, models.PROTECT, null=True, related_name="+")
    what = models.CharField(max_length=7, choices=What.choices)
    amount = Cents()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["month_end", "fund", "line", "against"],
                name="reports_trace_of_an_account_once",
                violation_error_message="What that month stood at is stored already.",
            ),
            models.UniqueConstraint(
                fields=["month_end", "fund", "line", "what"],
                condition=Q(against=None),
                name="reports_trace_of_money_once",
                violation_error_message="What that month stood at is stored already.",
            ),
            models.CheckConstraint(
                condition=Q(what="account", against__isnull=False) | ~Q(what="account") & Q(against=None),
                name="reports_trace_is_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month_end} {self.line_id}"
