"""Months of a bank account signed off, and opened again."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.bank import reconciling
from clubdesk.bank.models import BankAccount, Reconciliation
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.selectors import month_end
from clubdesk.money import as_amount
from clubdesk.verbs import verb


@verb(permission="bank.add_reconciliation", title="Sign a month off")
def sign_off_month(
    *,
    bank_account: BankAccount,
    until: date,
    statement_balance: Money,
    on: date,
    by: User,
    key: uuid.UUID | None = None,
) -> Reconciliation:
    """Sign a month of the account off. From then on nothing of it up to that day can change.

    Raises Refused while a line is not explained, the lines do not come to the closing balance, or the balances differ.
    """
    account = BankAccount.objects.select_for_update(of=("self",), no_key=True).get(pk=bank_account.pk)
    ledger.lock_book()
    if found := ledger.written(Reconciliation, key):
        return found
    if until != month_end(until):
        raise Refused("Reconcile to the last day of a month.")
    if on <= until:
        raise Refused("The month is not over yet.")
    figures = reconciling.reconcile(account, until, as_amount(statement_balance))
    if figures.obstacles:
        raise Refused(figures.obstacles)
    return Reconciliation.objects.create(
        key=key or uuid.uuid4(),
        bank_account=account,
        month_end=until,
        statement_balance=figures.statement_balance,
        deposits=figures.deposits_not_credited,
        payments=figures.payments_not_presented,
        book_balance=figures.book_balance,
        recorded_later=figures.adjustments,
        signed_on=on,
        recorded_by=by,
    )


@verb(permission="bank.change_reconciliation", title="Open this month again")
def reopen_month(*, reconciliation: Reconciliation, on: date, reason: str, by: User) -> Reconciliation:
    """Open the last month that was signed off again. Raises Refused without a reason, and for an earlier month."""
    account = BankAccount.objects.select_for_update(of=("self",), no_key=True).get(pk=reconciliation.bank_account_id)
    document = Reconciliation.objects.get(pk=reconciliation.pk)
    if document.reopened_on:
        return document
    last = reconciling.last_signed(account)
    if last is None or last.pk != document.pk:
        raise Refused("A later month is signed off; open that one first.")
    if not reason.strip():
        raise Refused("Say why the month is opened again.")
    document.reopened_on, document.reopened_by, document.reopen_reason = on, by, reason.strip()[:150]
    document.save(update_fields=["reopened_on", "reopened_by", "reopen_reason"])
    return document
