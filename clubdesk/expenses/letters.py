"""What volunteers hear about their expenses."""

from datetime import date

from clubdesk.clock import long_day
from clubdesk.expenses.models import Expense
from clubdesk.fees.writing import write_to
from clubdesk.mail.models import Message
from clubdesk.money import shown


def tell_declined(expense: Expense, on: date) -> Message:
    words = (
        f"Your expense for {expense.what} ({shown(expense.amount)}, {long_day(expense.spent_on)}) was declined on "
        f"{long_day(on)}. The reason: {expense.decision_reason}"
    )
    about = f"expense {expense.pk} declined"
    return write_to(expense.household, [words], about=about, subject="Your expense was declined")
