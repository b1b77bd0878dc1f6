"""What must always be true of volunteers' expenses."""

from collections.abc import Iterator

from django.db.models import F

from clubdesk.evidence import fault_of_stored
from clubdesk.expenses import selectors
from clubdesk.expenses.models import Expense
from clubdesk.fees import givingback
from clubdesk.fees.selectors import decided_for_their_family
from clubdesk.ledger.invariants import differences, invariant
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import by_hand
from clubdesk.money import in_all, sum_of


@invariant("Other payables equals expenses and vouchers given back that are not paid yet, and what was written by hand")
def other_payables_hold() -> Iterator[str]:
    posted = -Posting.objects.filter(account__role=Role.OTHER_PAYABLES).aggregate(figure=sum_of("amount"))["figure"]
    detail = selectors.approved_unpaid() + in_all(givingback.unpaid()) - by_hand(Role.OTHER_PAYABLES)
    yield from differences("Other payables", {"all": posted}, {"all": detail})


@invariant("Nobody decided about an expense that they recorded")
def nobody_decided_their_own_expense() -> Iterator[str]:
    for expense in Expense.objects.filter(decided_by=F("recorded_by")):
        yield f"{expense.decided_by} recorded and decided the expense {expense}."


@invariant("Nobody decided an expense of a family that they belonged to when it was recorded or since")
def nobody_decided_for_their_family() -> Iterator[str]:
    for expense in decided_for_their_family(Expense).select_related("decided_by", "household"):
        yield f"{expense.decided_by} belongs or belonged to {expense.household} and decided the expense {expense}."


@invariant("Each expense's receipt is the file that was uploaded")
def expense_receipts_hold() -> Iterator[str]:
    for expense in Expense.objects.exclude(receipt=""):
        if fault := fault_of_stored(expense.receipt, expense.receipt_digest):
            yield f"The receipt of the expense {expense} {fault}."
