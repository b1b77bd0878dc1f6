"""The rules about volunteers' expenses that the database itself keeps."""

from clubdesk.expenses.states import EXPENSE
from clubdesk.guards import Guard, kept
from clubdesk.roll.rules import of_the_family

GUARDS = [
    *kept(
        "expenses_expense",
        "volunteer's expense",
        "household_id",
        "amount",
        "spent_on",
        "receipt_digest",
        free=(
            "what",
            "tax",
            "account_id",
            "fund_id",
            "receipt",
            "receipt_type",
            "state",
            "decided_by_id",
            "decided_on",
            "decision_reason",
            "paid_on",
            "payment_reference",
            "times_returned",
        ),
    ),
    Guard(
        "expenses_nobody_decides_for_their_household",
        "expenses_expense",
        "UPDATE",
        when="NEW.decided_by_id IS NOT NULL AND OLD.decided_by_id IS NULL AND "
        + of_the_family("NEW.household_id", "NEW.decided_by_id", "NEW.recorded_at"),
        message="Nobody decides about an expense of their own family.",
    ),
    Guard(
        "expenses_decision_stays",
        "expenses_expense",
        "UPDATE",
        when="OLD.state <> 'recorded' AND (NEW.account_id <> OLD.account_id OR NEW.fund_id <> OLD.fund_id"
        " OR NEW.tax <> OLD.tax"
        " OR NEW.decided_by_id <> OLD.decided_by_id OR NEW.decided_on <> OLD.decided_on)",
        message="An expense that was decided stays as it is.",
    ),
    *EXPENSE.guards("expenses_expense"),
    Guard(
        "expenses_payment_comes_back_once",
        "expenses_expense",
        "UPDATE",
        when="(OLD.state = 'paid' AND NEW.state = 'approved') <> (NEW.times_returned <> OLD.times_returned)"
        " OR NEW.times_returned NOT IN (OLD.times_returned, OLD.times_returned + 1)"
        " OR (OLD.state = 'paid' AND NEW.state = 'paid' AND NEW.paid_on <> OLD.paid_on)",
        message="Only a payment that the bank returned is counted as returned, once.",
    ),
]
