"""Questions about volunteers' expenses."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.db.models import Q, QuerySet

from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.ledger.models import Account, FinancialYear, JournalEntry, Kind, Role
from clubdesk.ledger.selectors import source_type
from clubdesk.money import sum_of

NEVER_BOUGHT = (
    Role.ENTRY_REFUNDS,
    Role.CASH_OVER_SHORT,
    Role.CASH_ROUNDING,
    Role.WRITTEN_OFF,
    Role.DEPRECIATION,
    Role.TRANSFERS,
)
"""Expense accounts that only the book itself writes to."""


def chargeable_accounts() -> QuerySet[Account]:
    """What a purchase can be charged to: the club's expenses, and equipment that it keeps."""
    bought = Q(kind=Kind.EXPENSE) & (Q(role=None) | ~Q(role__in=NEVER_BOUGHT))
    return Account.objects.filter(bought | Q(role=Role.EQUIPMENT))


def to_decide() -> QuerySet[Expense]:
    """What waits for a decision, first recorded first."""
    waiting = Expense.objects.filter(state=ExpenseState.RECORDED)
    return waiting.select_related("household", "account", "fund").order_by("pk")


def day_to_post(spent_on: date, decided_on: date, open_years: Iterable[FinancialYear] | None = None) -> date:
    """The day on which an expense is dated in the books: decided after its year ended, the last day of that year.

    What was had in a year is its expense (accrual basis: AASB 101, paragraph 27, from memory). Where that year is
    locked to its end it is the day of the decision. `open_years`, where they are known, spare a question.
    """
    years = FinancialYear.objects.filter(closed_at=None) if open_years is None else open_years
    year = next((each for each in years if each.first_day <= spent_on <= each.last_day), None)
    if year is None or year.last_day >= decided_on or year.locked_through == year.last_day:
        return decided_on
    return year.last_day


def days_to_post(expenses: Iterable[Expense], decided_on: date) -> dict[int, date]:
    """The same of several, by their ids."""
    years = list(FinancialYear.objects.filter(closed_at=None))
    return {each.pk: day_to_post(each.spent_on, decided_on, years) for each in expenses}


def posted_after(year: FinancialYear) -> QuerySet[Expense]:
    """What was bought by the end of the year and is an expense of a later one."""
    late = JournalEntry.objects.filter(
        source_type=source_type(Expense), purpose="approve", reversed_by=None, date__gt=year.last_day
    )
    rows = Expense.objects.filter(spent_on__range=(year.first_day, year.last_day), pk__in=late.values("source_id"))
    return rows.order_by("spent_on", "pk")


def approved_unpaid() -> Decimal:
    """What is approved and not paid yet."""
    figure: Decimal = Expense.objects.filter(state=ExpenseState.APPROVED).aggregate(figure=sum_of("amount"))["figure"]
    return figure
