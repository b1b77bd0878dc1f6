"""What volunteers hear about their expenses."""

from datetime import date

from clubdesk.clock import long_day
from clubdesk.expenses.models import Expense
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import Message
from clubdesk.mail.services import write_message
from clubdesk.money import shown
from clubdesk.roll.selectors import guardian_to_write_to


def tell_declined(expense: Expense, on: date) -> Message:
    guardian = guardian_to_write_to(expense.household)
    said = [
        f"Hello {guardian.name if guardian else expense.household.name},",
        f"Your expense for {expense.what} ({shown(expense.amount)}, {long_day(expense.spent_on)}) was declined on "
        f"{long_day(on)}. The reason: {expense.decision_reason}",
        book().club_name,
    ]
    return write_message(
        about=f"expense {expense.pk} declined",
        to=guardian.email if guardian else "",
        subject="Your expense was declined",
        body="\n\n".join(said) + "\n",
        household=expense.household,
    )
