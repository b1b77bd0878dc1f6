"""The rules about volunteers' expenses that the database itself keeps."""

from clubdesk.guards import Guard, kept

GUARDS = [
    *kept(
        "expenses_expense", "volunteer's expense", "household_id", "amount", "spent_on", "receipt_digest",
        "recorded_by_id",
    ),
    Guard(
        "expenses_receipt_stands_behind_one",
        "expenses_expense",
        "INSERT",
        when="EXISTS (SELECT 1 FROM expenses_expense e WHERE e.receipt_digest = NEW.receipt_digest"
        " AND e.state <> 'declined')",
        message="This very receipt stands behind another expense already.",
    ),
    Guard(
        "expenses_begin_undecided",
        "expenses_expense",
        "INSERT",
        when="NEW.state <> 'recorded'",
        message="An expense is recorded first and decided after.",
    ),
    Guard(
        "expenses_nobody_decides_for_their_household",
        "expenses_expense",
        "UPDATE",
        when="NEW.decided_by_id IS NOT NULL AND OLD.decided_by_id IS NULL"
        " AND EXISTS (SELECT 1 FROM roll_household_users u"
        " WHERE u.household_id = NEW.household_id AND u.user_id = NEW.decided_by_id)",
        message="Nobody decides about an expense of their own household.",
    ),
    Guard(
        "expenses_decision_stays",
        "expenses_expense",
        "UPDATE",
        when="OLD.state <> 'recorded' AND (NEW.account_id <> OLD.account_id OR NEW.fund_id <> OLD.fund_id"
        " OR NEW.decided_by_id <> OLD.decided_by_id OR NEW.decided_on <> OLD.decided_on)",
        message="An expense that was decided stays as it is.",
    ),
    Guard(
        "expenses_states_follow",
        "expenses_expense",
        "UPDATE",
        when="(OLD.state = 'declined' AND NEW.state <> 'declined')"
        " OR (OLD.state = 'recorded' AND NEW.state = 'paid')"
        " OR (OLD.state = 'approved' AND NEW.state NOT IN ('approved', 'paid'))"
        " OR (OLD.state = 'paid' AND NEW.state NOT IN ('approved', 'paid'))"
        " OR (OLD.state = 'paid' AND NEW.state = 'approved') <> (NEW.times_returned <> OLD.times_returned)"
        " OR NEW.times_returned NOT IN (OLD.times_returned, OLD.times_returned + 1)"
        " OR (OLD.state = 'paid' AND NEW.state = 'paid' AND NEW.paid_on <> OLD.paid_on)",
        message="An expense is approved, then paid; only a payment that the bank returned waits again.",
    ),
]  # fmt: skip
