"""What a year needs of this room before it is closed."""

from django.urls import reverse

from clubdesk.clock import day_text
from clubdesk.expenses import selectors
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.ledger.closing import listed
from clubdesk.ledger.models import FinancialYear
from clubdesk.money import shown, total
from clubdesk.rooms import Check, Item

CUT_OFF = "Expenses are posted in the year they were bought in"


def decided(year: FinancialYear) -> Item:
    waiting = Expense.objects.filter(spent_on__lte=year.last_day, state=ExpenseState.RECORDED).count()
    said = f"{waiting} wait for a decision." if waiting else "All are decided."
    url = reverse("admin:expenses_expense_changelist")
    return Item("Volunteers’ expenses are decided", not waiting, said, url, "expenses.decide_expense", "an approver")


def bought_in_their_year(year: FinancialYear) -> Item:
    """What was bought by the year's end and is an expense of a later year; only said, since a bill can come late."""
    late = list(selectors.posted_after(year))
    url = f"{reverse('admin:expenses_expense_changelist')}?spent_on__gte={year.first_day}&spent_on__lte={year.last_day}"
    named = f"Bought by {day_text(year.last_day)} and posted after it, {shown(total(each.amount for each in late))}"
    said = f"{named}: {listed(late)}." if late else "All of the year’s are posted in it."
    return Item(CUT_OFF, True, said, url, "expenses.decide_expense", "an approver")


CHECKS = (
    Check("Volunteers’ expenses are decided", "expenses.decide_expense", decided),
    Check(CUT_OFF, "expenses.decide_expense", bought_in_their_year),
)
