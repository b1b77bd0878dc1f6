"""What the reports keep so that no page reads old postings: derived figures only, never a document."""

from django.db import models
from django.db.models import Q

from clubdesk.ledger.models import Account, Fund
from clubdesk.money import AmountField


class MonthTrace(models.Model):
    """How a line of the statements stood, by what moved it, when a locked month ended. Cumulative from the first entry.

    `line` is the income, expense or other account that money was for. `against` is the balance sheet account that
    moved for it; without one the figure is money (`is_cash`), or was moved between lines. What adds to the club's
    surplus is positive.
    """

    month_end = models.DateField()
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    line = models.ForeignKey(Account, models.PROTECT, related_name="+")
    against = models.ForeignKey(Account, models.PROTECT, null=True, related_name="+")
    is_cash = models.BooleanField(default=False)
    amount = AmountField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["month_end", "fund", "line", "against"], name="reports_trace_of_an_account_once"
            ),
            models.UniqueConstraint(
                fields=["month_end", "fund", "line", "is_cash"],
                condition=Q(against=None),
                name="reports_trace_of_money_once",
            ),
            models.CheckConstraint(condition=Q(against=None) | Q(is_cash=False), name="reports_trace_is_one_thing"),
        ]

    def __str__(self):
        return f"{self.month_end} {self.line_id}"
