"""What somebody says of a line: a receipt, a supplier, a journal. Each is written and matched with the line at once."""

import uuid
from collections.abc import Iterable

from django.contrib.auth.models import User

from clubdesk.bank.models import Clearing, StatementLine
from clubdesk.bank.services.answering import bank_postings, booked
from clubdesk.bank.services.clearing import clear, day_in_the_book, locked
from clubdesk.errors import Refused
from clubdesk.fees.models import Method
from clubdesk.fees.services import record_receipt
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Fund, Party, PartyKind, Role
from clubdesk.ledger.posting import Line
from clubdesk.money import nil, shown, total
from clubdesk.roll.models import Household
from clubdesk.verbs import verb

BY_HAND = "said by hand"


@verb(permission="bank.change_statementline", title="Receipt from a family")
def receive_line(*, line: StatementLine, household: Household, by: User, key: uuid.UUID | None = None) -> Clearing:
    """A family paid the line: a receipt by transfer of its day and amount, which pays the oldest fees first.

    Raises Refused for money that went out, and for a line of another account than the one that documents post to.
    """
    locked(line.bank_account_id)
    if found := ledger.written(Clearing, key):
        return found
    _refuse_matched(line)
    if line.amount <= nil():
        raise Refused("Money went out; a receipt is money from a family. If a payment came back, cancel its receipt.")
    if line.bank_account.account.role != Role.BANK:
        raise Refused(f"Receipts are posted to the account with the role “Bank”; {line.bank_account} is another.")
    receipt = record_receipt(
        household=household, amount=line.amount, method=Method.TRANSFER, on=day_in_the_book(line), by=by,
        reference=line.text[:60],
    )  # fmt: skip
    return clear(lines=[line], postings=bank_postings(receipt, line), reasons=BY_HAND, by=by, key=key)


@verb(permission="bank.change_statementline", title="Supplier paid, or paid back")
def pay_supplier(
    *,
    line: StatementLine,
    party: Party,
    account: Account,
    fund: Fund,
    narration: str,
    by: User,
    key: uuid.UUID | None = None,
) -> Clearing:
    """A supplier was paid what the line says, or paid some of it back: a journal to the account that it is for.

    Money in comes off that account again. Raises Refused for a party that is no supplier.
    """
    locked(line.bank_account_id)
    if found := ledger.written(Clearing, key):
        return found
    _refuse_matched(line)
    if party.kind != PartyKind.SUPPLIER:
        raise Refused(f"{party} is no supplier; add the supplier among people and organisations first.")
    posting = booked(line, narration, account, party, fund, by)
    return clear(lines=[line], postings=[posting], reasons=BY_HAND, by=by, key=key)


@verb(permission="bank.change_statementline", title="Write a journal for it")
def book_line(
    *, line: StatementLine, narration: str, lines: Iterable[Line], by: User, key: uuid.UUID | None = None
) -> Clearing:
    """A journal of the line's day. Raises Refused where it does not move the bank account by just the line's amount."""
    locked(line.bank_account_id)
    if found := ledger.written(Clearing, key):
        return found
    _refuse_matched(line)
    journal = ledger.record_journal(on=day_in_the_book(line), narration=narration, lines=lines, by=by)
    postings = bank_postings(journal, line)
    if total(each.amount for each in postings) != line.amount:
        own = line.bank_account.account
        raise Refused(f"The journal must move {own} by {shown(line.amount)}, as the bank’s line does.")
    return clear(lines=[line], postings=postings, reasons=BY_HAND, by=by, key=key)


def _refuse_matched(line: StatementLine) -> None:
    if line.clearings.filter(stands=True).exists():
        raise Refused("This line is matched already.")
