"""What must always be true of the bank, the till and the card takings."""

from collections.abc import Iterator
from decimal import Decimal

from django.db.models import F, Q

from clubdesk.bank import selectors
from clubdesk.bank.models import StatementLine
from clubdesk.ledger.invariants import differences, invariant
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import summed


def _posted(role: Role) -> Decimal:
    return Posting.objects.filter(account__role=role).aggregate(figure=summed("amount"))["figure"]


@invariant("The till equals its takings less bankings and counted differences")
def till_holds() -> Iterator[str]:
    yield from differences("Till", {"all": _posted(Role.TILL)}, {"all": selectors.till_detail()})


@invariant("Card takings equal what the readers took less what was settled")
def card_takings_hold() -> Iterator[str]:
    yield from differences("Card takings", {"all": _posted(Role.CARD_TAKINGS)}, {"all": selectors.card_detail()})


@invariant("A statement line is explained by a line of the same account and amount")
def explanations_hold() -> Iterator[str]:
    wrong = StatementLine.objects.exclude(explained_by=None).exclude(
        Q(amount=F("explained_by__amount"), bank_account__account=F("explained_by__account"))
    )
    for line in wrong:
        yield f"The statement line {line} is explained by something of another amount or account."
