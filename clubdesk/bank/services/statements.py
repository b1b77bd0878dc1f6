"""Card takings settled, and the lines of the bank's statement."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.bank import posting, selectors
from clubdesk.bank.models import BankAccount, CardSettlement, StatementLine
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.money import as_amount, nil, positive, shown
from clubdesk.verbs import verb


@verb(permission="bank.add_cardsettlement", title="Card takings settled")
def settle_cards(*, takings: Money, fee: Money, on: date, by: User, key: uuid.UUID | None = None) -> CardSettlement:
    """The card company paid takings into the bank, less its fee. Raises Refused for more than the readers took."""
    ledger.lock_book()
    if found := ledger.written(CardSettlement, key):
        return found
    takings, fee = positive(takings, "The takings"), as_amount(fee)
    waiting = selectors.card_takings_waiting()
    if takings > waiting:
        raise Refused(f"Card takings of {shown(waiting)} wait to be settled; no more than that can be.")
    if fee < nil() or fee >= takings:
        raise Refused("The fee is less than the takings, and not less than 0.00.")
    document = CardSettlement.objects.create(
        key=key or uuid.uuid4(), settled_on=on, takings=takings, fee=fee, recorded_by=by
    )
    ledger.post(
        source=document,
        purpose="settled",
        on=on,
        narration=str(document),
        lines=posting.settlement_lines(takings, fee),
        by=by,
    )
    return document


@verb(permission="bank.add_statementline", title="Write down a statement line")
def record_statement_line(
    *, bank_account: BankAccount, on: date, amount: Money, text: str, by: User, key: uuid.UUID | None = None
) -> StatementLine:
    """Write down a line of the bank's statement: money in positive, money out negative."""
    BankAccount.objects.select_for_update(of=("self",), no_key=True).get(pk=bank_account.pk)
    if found := ledger.written(StatementLine, key):
        return found
    amount = as_amount(amount)
    if amount == nil():
        raise Refused("A statement line has an amount.")
    if not text.strip():
        raise Refused("Copy the statement's own words.")
    return StatementLine.objects.create(
        key=key or uuid.uuid4(),
        bank_account=bank_account,
        date=on,
        amount=amount,
        text=text.strip()[:200],
        recorded_by=by,
    )
