"""What a year needs of this room before it is closed."""

from django.urls import reverse

from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.ledger.models import FinancialYear
from clubdesk.rooms import Check, Item


def decided(year: FinancialYear) -> Item:
    waiting = Expense.objects.filter(spent_on__lte=year.last_day, state=ExpenseState.RECORDED).count()
    said = f"{waiting} wait for a decision." if waiting else "All are decided."
    url = reverse("admin:expenses_expense_changelist")
    return Item("Volunteers’ expenses are decided", not waiting, said, url, "expenses.decide_expense", "an approver")


CHECKS = (Check("Volunteers’ expenses are decided", "expenses.decide_expense", decided),)
