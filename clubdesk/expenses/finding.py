"""What search finds of volunteers' expenses."""

from collections.abc import Iterator

from django.db.models import Q

from clubdesk.clock import day_text
from clubdesk.expenses.models import Expense
from clubdesk.finding import Sought
from clubdesk.money import shown
from clubdesk.rooms import ERASED, Finder, Hit
from clubdesk.screens.searching import all_words, amounts, hit


def expenses(sought: Sought, limit: int) -> Iterator[Hit]:
    """Expenses by what they were for, by their amount, or as a payment names them: expense 12."""
    meant = all_words(sought, "what") | Q(pk__in=sought.as_called) | Q(amount__in=amounts(sought))
    for expense in Expense.objects.filter(meant).exclude(what=ERASED).select_related("household")[:limit]:
        facts = (str(expense.household), shown(expense.amount), expense.get_state_display().lower())
        yield hit(expense, expense.what, ", ".join((*facts, day_text(expense.spent_on))))


FINDS = (
    Finder(
        "Expenses",
        "what it was for, an amount, or a number as in “expense 12”",
        permission="expenses.view_expense",
        find=expenses,
        called=("expense",),
        page="admin:expenses_expense_changelist",
    ),
)
