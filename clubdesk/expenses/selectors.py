"""Questions about volunteers' expenses."""

from decimal import Decimal

from django.db.models import Q, QuerySet

from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.ledger.models import Account, Kind, Role
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


def approved_unpaid() -> Decimal:
    """What is approved and not paid yet."""
    figure: Decimal = Expense.objects.filter(state=ExpenseState.APPROVED).aggregate(figure=sum_of("amount"))["figure"]
    return figure
