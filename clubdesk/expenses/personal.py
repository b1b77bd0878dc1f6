"""What this room holds about people."""

from collections.abc import Iterator, Sequence

from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Erase, Personal, Told


def _told(home: Household) -> Iterator[Sequence[object]]:
    for expense in home.expenses.all():
        words = f"{expense.what}: {expense.get_state_display()} {expense.decision_reason}".strip()
        yield (expense.spent_on, "Expense", words, expense.amount.amount)


def owed(person: Person, *, is_last: bool, on: object) -> str:
    """Why the details of the last of a family stay: the club has approved an expense and not paid it yet."""
    if is_last and Expense.objects.filter(household=person.household, state=ExpenseState.APPROVED).exists():
        return f"The club still owes {person.household} an expense; pay it first."
    return ""


PERSONAL = (
    Personal(
        "expenses.Expense",
        family="household",
        erased=(Erase("what"), Erase("decision_reason"), Erase("receipt", is_file=True)),
        told=("what", "decision_reason"),
        retained_from=("spent_on", "paid_on"),
        free={
            "payment_reference": "the run's number, or what the treasurer's bank calls the payment",
            "receipt_type": "what kind of file it was",
            "receipt_digest": "of a file that is gone by then",
        },
    ),
)
TOLD = (Told("Payments", (("Day", 14), ("What", 16), ("Words", 70), ("Amount", 14)), _told, amounts="D"),)
