"""Questions about volunteers' expenses."""

from decimal import Decimal

from django.db.models import Q, QuerySet

from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.ledger.models import Account, Kind, Role
from clubdesk.ledger.selectors import summed


def chargeable_accounts() -> QuerySet[Account]:
    """What a purchase can be charged to: the club's expenses, and equipment that it keeps."""
    return Account.objects.filter(Q(kind=Kind.EXPENSE) | Q(role=Role.EQUIPMENT)).exclude(role=Role.ENTRY_REFUNDS)


def approved_unpaid() -> Decimal:
    """What is approved and not paid yet."""
    return Expense.objects.filter(state=ExpenseState.APPROVED).aggregate(figure=summed("amount"))["figure"]
