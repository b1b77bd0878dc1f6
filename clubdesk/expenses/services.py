"""Verbs of volunteers' expenses."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.db import transaction
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence, attach
from clubdesk.expenses import letters, posting, selectors
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.expenses.states import EXPENSE
from clubdesk.fees.services.paying_back import locked, locked_for_decision, pay, take_payment_back
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Fund, Role
from clubdesk.ledger.selectors import book
from clubdesk.money import as_amount, from_cents, gst_in, nil, positive, shown
from clubdesk.roll.models import Household
from clubdesk.verbs import verb

ROUNDED_LINE_BY_LINE = from_cents(5)
"""So much more than an eleventh of its total the GST on a bill may come to."""


@verb(permission="expenses.add_expense", title="Record a volunteer’s expense")
def record_expense(
    *,
    household: Household,
    what: str,
    amount: Money,
    spent_on: date,
    account: Account,
    fund: Fund,
    evidence: Evidence,
    by: User,
    tax: Money | None = None,
    key: uuid.UUID | None = None,
) -> Expense:
    """Write down what a volunteer paid for the club. It decides nothing and posts nothing.

    `tax` is the GST in it that the club gets back, nothing unless it is said. Raises Refused where the same receipt
    stands behind another expense, for an account that is no expense, and for more GST than there can be in it.
    """
    ledger.lock_book()
    if found := ledger.written(Expense, key):
        return found
    if not what.strip():
        raise Refused("Write what was bought.")
    amount, tax = positive(amount), as_amount(tax or nil())
    _refuse_charging(account, fund)
    _refuse_tax(amount, tax, fund, spent_on)
    used = Expense.objects.filter(receipt_digest=evidence.digest).exclude(state=ExpenseState.DECLINED).first()
    if used:
        raise Refused(f"This very receipt stands behind another expense already: {used}.")
    document = Expense(
        key=key or uuid.uuid4(),
        household=household,
        what=what.strip()[:120],
        amount=amount,
        tax=tax,
        spent_on=spent_on,
        account=account,
        fund=fund,
        recorded_by=by,
    )
    attach(document, evidence)
    document.save()
    return document


def _refuse_charging(account: Account, fund: Fund) -> None:
    """Equipment stays an asset and would leave a restricted fund as large as before, its money gone."""
    if not selectors.chargeable_accounts().filter(pk=account.pk).exists():
        raise Refused(f"A purchase cannot be charged to {account}; choose an expense account.")
    if fund.restricted and account.role == Role.EQUIPMENT:
        raise Refused(f"{fund} pays for no equipment; charge it to an expense account, or to another fund.")


def _refuse_tax(amount: Money, tax: Money, fund: Fund, on: date) -> None:
    """Each line of a bill may be rounded by itself (GST Act, s 9-90), hence a little more than an eleventh."""
    if tax == nil():
        return
    if not book().is_registered_on(on):
        raise Refused(f"The club is not registered for GST on {day_text(on)}; it gets none of it back.")
    if not nil() < tax <= gst_in(amount) + ROUNDED_LINE_BY_LINE:
        raise Refused(f"Of {shown(amount)} no more than {shown(gst_in(amount))} is GST; look at the bill again.")
    if fund.restricted:
        raise Refused(
            f"{fund} holds money only, so no GST that is still to come back: leave it out, or charge another fund and"
            " move the money."
        )


@verb(permission="expenses.decide_expense", title="Approve this expense")
def approve_expense(
    *,
    expense: Expense,
    on: date,
    by: User,
    account: Account | None = None,
    fund: Fund | None = None,
    tax: Money | None = None,
    posted_on: date | None = None,
) -> Expense:
    """Approve an expense: the club owes it to the volunteer's household, charged to the account and fund.

    `account`, `fund` and `tax` replace what was proposed. It is dated `posted_on` in the books: where nothing is said,
    `on`, or the last day of the year it was bought in while that is still open (`selectors.day_to_post`).

    Raises Refused for whoever recorded it or belongs to the household, for one that was declined, and where a
    restricted fund would be overdrawn.
    """
    document = locked_for_decision(expense, by, "account", "fund")
    if document.state in (ExpenseState.APPROVED, ExpenseState.PAID):
        return document
    declined = "This expense was declined; record it again if that was wrong."
    EXPENSE.refuse_unless(document.state, ExpenseState.APPROVED, declined)
    if on < document.spent_on:
        raise Refused(f"It was spent on {day_text(document.spent_on)}; it cannot be decided before.")
    ledger.lock_book()
    posted_on = posted_on or selectors.day_to_post(document.spent_on, on)
    if not document.spent_on <= posted_on <= on:
        raise Refused(f"It is dated between {day_text(document.spent_on)}, when it was bought, and {day_text(on)}.")
    document.account, document.fund = account or document.account, fund or document.fund
    document.tax = document.tax if tax is None else as_amount(tax)
    _refuse_charging(document.account, document.fund)
    _refuse_tax(document.amount, document.tax, document.fund, document.spent_on)
    document.state, document.decided_by, document.decided_on = ExpenseState.APPROVED, by, on
    document.save(update_fields=["state", "decided_by", "decided_on", "account", "fund", "tax"])
    ledger.post(
        source=document,
        purpose="approve",
        on=posted_on,
        narration=f"Volunteer’s expense approved: {document.what} (expense {document.pk})",
        lines=posting.approved_lines(
            document.amount, document.tax, document.account, document.fund, document.household.party
        ),
        by=by,
    )
    return document


@dataclass(frozen=True)
class Approved:
    """What deciding several came to: the expenses approved, and a sentence for each that was not."""

    expenses: tuple[Expense, ...]
    refused: tuple[str, ...]


@verb(permission="expenses.decide_expense", title="Approve several expenses")
def approve_expenses(*, expenses: Iterable[Expense], on: date, by: User, in_their_year: bool = True) -> Approved:
    """Approve several expenses as they were proposed, first recorded first; one that is refused holds none back.

    Each is dated as `approve_expense` dates it, or on `on` where not `in_their_year`. Raises Refused where not even one
    can be approved.
    """
    rows = Expense.objects.select_for_update(of=("self",), no_key=True)
    approved, refused = [], []
    for expense in list(rows.filter(pk__in=[each.pk for each in expenses]).order_by("pk")):
        try:
            with transaction.atomic():
                if expense.state != ExpenseState.RECORDED:
                    raise Refused("It was decided already.")
                posted_on = None if in_their_year else on
                approved.append(approve_expense(expense=expense, on=on, by=by, posted_on=posted_on))
        except Refused as refusal:
            refused.append(f"{expense}: {refusal.sentence}")
    if not approved:
        raise Refused(" ".join(refused) or "Tick what you approve.")
    return Approved(tuple(approved), tuple(refused))


@verb(permission="expenses.decide_expense", title="Decline this expense")
def decline_expense(*, expense: Expense, reason: str, on: date, by: User) -> Expense:
    """Decline an expense with a reason that the volunteer can be told."""
    document = locked_for_decision(expense, by)
    if document.state == ExpenseState.DECLINED:
        return document
    EXPENSE.refuse_unless(document.state, ExpenseState.DECLINED, "This expense was approved already.")
    if on < document.spent_on:
        raise Refused(f"It was spent on {day_text(document.spent_on)}; it cannot be decided before.")
    if not reason.strip():
        raise Refused("Give the reason in words that you would tell the volunteer.")
    document.state, document.decided_by, document.decided_on = ExpenseState.DECLINED, by, on
    document.decision_reason = reason.strip()[:200]
    document.save(update_fields=["state", "decided_by", "decided_on", "decision_reason"])
    letters.tell_declined(document, on)
    return document


@verb(permission="bank.change_paymentrun", title="Record that an expense was paid")
def pay_expense(*, expense: Expense, on: date, by: User, reference: str = "") -> Expense:
    """It went to the household by bank transfer. Raises Refused for one that is not approved."""
    document = locked(expense, "fund")
    return pay(
        document,
        on=on,
        by=by,
        reference=reference,
        narration=f"Volunteer’s expense paid: {document.what} (expense {document.pk})",
        lines=posting.paid_lines(document.amount, document.fund, document.household.party),
    )


@verb(permission="bank.change_paymentrun", title="Record that the bank returned an expense")
def take_expense_back(*, expense: Expense, on: date, by: User) -> Expense:
    """The bank returned the payment; the expense waits to be paid again. Raises Refused for one that was not paid."""
    return take_payment_back(expense, on=on, by=by)
