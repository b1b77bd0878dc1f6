"""How a volunteer's expense goes on its way."""

from clubdesk.states import States

EXPENSE = States(
    "volunteer’s expense",
    first=("recorded",),
    table={
        "recorded": {"approved": "expenses.approve_expense", "declined": "expenses.decline_expense"},
        "approved": {"paid": "expenses.pay_expense"},
        "paid": {"approved": "expenses.take_expense_back"},
        "declined": {},
    },
)
