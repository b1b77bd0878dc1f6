"""What volunteers hear about their expenses."""

from datetime import date

from clubdesk.clock import long_day
from clubdesk.expenses.models import Expense
from clubdesk.fees.writing import write_letter
from clubdesk.lettering import Field, LetterKind
from clubdesk.mail.models import Message
from clubdesk.money import shown

DECLINED = LetterKind(
    "expenses.declined",
    "An expense was declined",
    "Goes to the volunteer’s family when an expense is declined.",
    subject="Your expense was declined",
    says=(
        "Your expense for {{ what }} ({{ amount }}, {{ spent_on }}) was declined on {{ day }}.\n\n"
        "The reason: {{ reason }}\n\nPlease write to us if you see it otherwise."
    ),
    fields=(
        Field("what", "What was bought", "batteries for the timer"),
        Field("amount", "What it cost", "$25.50", must=True),
        Field("spent_on", "When it was bought", "10 September 2026"),
        Field("day", "When it was declined", "12 September 2026"),
        Field("reason", "Why", "the receipt is of another shop", must=True),
    ),
)
LETTERS = (DECLINED,)


def tell_declined(expense: Expense, on: date) -> Message:
    values = {
        "what": expense.what,
        "amount": shown(expense.amount),
        "spent_on": long_day(expense.spent_on),
        "day": long_day(on),
        "reason": expense.decision_reason,
    }
    return write_letter(expense.household, DECLINED, values, about=f"expense {expense.pk} declined")
