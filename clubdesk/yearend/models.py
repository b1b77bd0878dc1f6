"""What a year's end needs beside the ledger: a budget, figures of the year before this book, the club's equipment."""

from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.ledger.models import YEARLY_KINDS, Account, Document, FinancialYear, Fund, Journal, JournalEntry, TaxBasis
from clubdesk.money import Cents, nil

KINDS = [kind.value for kind in YEARLY_KINDS]


class BudgetMonth(models.Model):
    """What is planned for an account in a month; income and expense alike above nil. `month` is its first day."""

    year = models.ForeignKey(FinancialYear, models.PROTECT, related_name="budget")
    account = models.ForeignKey(Account, models.PROTECT, related_name="+", limit_choices_to={"kind__in": KINDS})
    month = models.DateField()
    amount = Cents()

    class Meta:
        ordering = ["account", "month"]
        verbose_name = "budget of a month"
        verbose_name_plural = "budget by month"
        constraints = [
            models.UniqueConstraint(
                fields=["account", "month"],
                name="yearend_budget_once_a_month",
                violation_error_message="Somebody else planned this account at the same moment; open its budget again.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="yearend_budget_above_nil"),
            models.CheckConstraint(condition=Q(month__day=1), name="yearend_budget_month_by_its_first_day"),
        ]

    def __str__(self) -> str:
        return f"{self.account}, {self.month:%B %Y}"


class Comparative(models.Model):
    """A figure of the year before this book began, as its statements printed it; what is usual is above nil.

    Only where the ledger has no such year. The account's kind says where it stands.
    """

    year_end = models.DateField()
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    amount = Cents()

    class Meta:
        ordering = ["-year_end", "account", "fund"]
        verbose_name = "figure of the year before"
        verbose_name_plural = "figures of the year before"
        constraints = [
            models.UniqueConstraint(
                fields=["year_end", "account", "fund"],
                name="yearend_comparative_once",
                violation_error_message="Somebody else typed this figure of last year just now; look at it again.",
            ),
            models.CheckConstraint(condition=~Q(amount=0), name="yearend_comparative_not_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.account}, {day_text(self.year_end)}"


class GstReturn(Document):
    """The GST return of a period: what was in sales less what was in bills is owed, by one journal."""

    first_day = models.DateField()
    last_day = models.DateField()
    journal = models.OneToOneField(Journal, models.PROTECT, related_name="gst_return")
    collected = Cents("GST in sales", default=nil)
    credits = Cents("GST in bills", default=nil)
    basis = models.CharField(max_length=8, choices=TaxBasis.choices, default=TaxBasis.ACCRUALS)

    class Meta:
        ordering = ["-last_day", "-pk"]
        verbose_name = "GST of a period"
        verbose_name_plural = "GST by period"
        constraints = [
            models.CheckConstraint(condition=Q(last_day__gt=F("first_day")), name="yearend_gst_period_order"),
        ]

    def __str__(self) -> str:
        return f"GST, {day_text(self.first_day)} to {day_text(self.last_day)}"

    @property
    def payable(self) -> Money:
        """To the tax office; below nil it pays the club."""
        payable: Money = self.collected - self.credits
        return payable


class FoundTax(Document):
    """GST that was not posted with what it is in, posted later: fees from before the club registered here, journals."""

    until = models.DateField()
    posted_on = models.DateField()
    collected = Cents("GST in sales", default=nil)
    credits = Cents("GST in bills", default=nil)
    is_posted = models.BooleanField(default=True)

    class Meta:
        ordering = ["-posted_on", "-pk"]
        verbose_name = "GST found later"
        verbose_name_plural = "GST found later"

    def __str__(self) -> str:
        return f"GST found later, to {day_text(self.until)}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"gst"} if self.is_posted else set()


class FoundTaxLine(models.Model):
    """The GST found in a line of an entry, debit positive; zero where somebody looked and there is none in it."""

    found = models.ForeignKey(FoundTax, models.PROTECT, related_name="lines")
    entry = models.ForeignKey(JournalEntry, models.PROTECT, related_name="found_tax")
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    tax = Cents("GST in it", default=nil)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["entry", "account", "fund"],
                name="yearend_found_tax_once",
                violation_error_message="Somebody else posted this GST at the same moment.",
            ),
        ]

    def __str__(self) -> str:
        return f"GST in {self.entry}, {self.account}"


class Equipment(Document):
    """A thing that the club uses for years. Its cost stands in Equipment at cost by whatever entry bought it.

    It is depreciated in equal parts a month from the month it was bought in, down to `residual`.
    """

    name = models.CharField(max_length=120)
    bought_on = models.DateField()
    cost = Cents()
    residual = Cents("worth at the end", default=nil)
    years = models.PositiveSmallIntegerField("years of use")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    brought_in = Cents(
        "depreciated before this book", default=nil, help_text="What the opening trial balance has of it already."
    )
    withdrawn_on = models.DateField("typed wrongly, removed on", null=True, blank=True, editable=False)
    withdraw_reason = models.CharField("why", max_length=150, blank=True, editable=False)

    class Meta:
        ordering = ["bought_on", "pk"]
        verbose_name_plural = "equipment"
        constraints = [
            models.CheckConstraint(condition=Q(cost__gt=0), name="yearend_equipment_cost_above_nil"),
            models.CheckConstraint(
                condition=Q(residual__gte=0, residual__lt=F("cost")), name="yearend_equipment_loses_worth"
            ),
            models.CheckConstraint(condition=Q(years__gte=1, years__lte=50), name="yearend_equipment_years"),
            models.CheckConstraint(
                condition=Q(brought_in__gte=0, brought_in__lte=F("cost") - F("residual")),
                name="yearend_equipment_brought_in_within_cost",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Disposal(Document):
    """How a thing went: sold, broken, lost. Once its journal is reversed the club has the thing again."""

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="disposals")
    gone_on = models.DateField()
    reason = models.CharField(max_length=150)
    proceeds = Cents("money received for it", default=nil)
    journal = models.OneToOneField(Journal, models.PROTECT, related_name="disposal")

    class Meta:
        ordering = ["gone_on", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(proceeds__gte=0), name="yearend_disposal_proceeds_not_below_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.equipment}, gone on {day_text(self.gone_on)}"


class DepreciationLine(models.Model):
    """What one thing lost in worth in a journal, up to a day; where that day was shut, the journal is dated later."""

    journal = models.ForeignKey(Journal, models.PROTECT, related_name="depreciation")
    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="depreciation")
    until = models.DateField()
    amount = Cents()

    class Meta:
        ordering = ["until", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="yearend_depreciation_above_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.equipment} to {day_text(self.until)}"
