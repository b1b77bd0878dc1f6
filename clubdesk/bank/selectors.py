"""Questions about the bank."""

from decimal import Decimal

from django.db.models import QuerySet
from djmoney.money import Money

from clubdesk.bank.models import BankAccount, CardSettlement, StatementLine
from clubdesk.entryfund.models import ContainerReturn, PaidInto
from clubdesk.fees.models import Method, Receipt
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import by_hand, summed
from clubdesk.money import as_amount
from clubdesk.rangeday.models import Banking, Paid, SignOn, TillCount


def unexplained(bank_account: BankAccount) -> QuerySet[StatementLine]:
    return bank_account.lines.filter(explained_by=None)


def possible_explanations(line: StatementLine) -> QuerySet[Posting]:
    """Lines of the ledger in the line's account, of its very amount, that explain no other line; nearest first."""
    return (
        Posting.objects.filter(
            account=line.bank_account.account,
            amount=line.amount.amount,
            statement_line=None,
            entry__sealed=True,
        )
        .select_related("entry", "account")
        .order_by("-entry__date")
    )


def _sum(rows: QuerySet, field: str = "amount") -> Decimal:
    return rows.aggregate(figure=summed(field))["figure"]


def till_detail() -> Decimal:
    """What the till holds by the documents of every room that puts money in or takes it out."""
    signed_on = SignOn.objects.filter(paid=Paid.CASH, cancelled_on=None)
    received = Receipt.objects.filter(method=Method.CASH, cancelled_on=None)
    return (
        _sum(signed_on)
        - _sum(signed_on, "rounding")
        + _sum(received)
        - _sum(received, "rounding")
        + _sum(ContainerReturn.objects.filter(paid_into=PaidInto.TILL))
        + _sum(standing_counts(), "counted")
        - _sum(standing_counts(), "expected")
        - _sum(Banking.objects.filter(cancelled_on=None))
        + by_hand(Role.TILL)
    )


def standing_counts() -> QuerySet[TillCount]:
    return TillCount.objects.filter(reopened_on=None)


def card_detail() -> Decimal:
    """What the card company still owes by the documents."""
    return (
        _sum(SignOn.objects.filter(paid=Paid.CARD, cancelled_on=None))
        + _sum(Receipt.objects.filter(method=Method.CARD, cancelled_on=None))
        + _sum(standing_counts(), "card_slip")
        - _sum(standing_counts(), "card_expected")
        - _sum(CardSettlement.objects.all(), "takings")
        + by_hand(Role.CARD_TAKINGS)
    )


def card_takings_waiting() -> Money:
    """What the ledger says the card company still owes."""
    return as_amount(_sum(Posting.objects.filter(account__role=Role.CARD_TAKINGS)))
