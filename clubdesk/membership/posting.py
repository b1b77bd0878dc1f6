"""How memberships' own documents become journal lines; the fee itself posts in the fees room."""

from djmoney.money import Money

from clubdesk.ledger.models import Party, Role
from clubdesk.ledger.posting import Line, credit, debit


def remittance_lines(amount: Money, association: Party) -> list[Line]:
    return [debit(Role.AFFILIATION_PAYABLE, amount, association), credit(Role.BANK, amount)]
