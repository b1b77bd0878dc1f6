"""How families stand, on the home page: what they owe, what is paid ahead, what departments owe for vouchers."""

from datetime import date
from decimal import Decimal

from clubdesk.fees.deadlines import claims_unpaid
from clubdesk.ledger.models import Role
from clubdesk.ledger.remembering import until_the_next_entry
from clubdesk.ledger.selectors import ZERO, party_balances
from clubdesk.money import as_amount, shown
from clubdesk.rooms import Card, Line


@until_the_next_entry
def _balances(on: date) -> dict[int, Decimal]:
    return party_balances(Role.FEES_OWED, on)


def families(on: date) -> list[Line]:
    """What is owed and what is in credit, never one netted against the other; vouchers claimed and not paid yet."""
    found = _balances(on).values()
    owed, ahead = [each for each in found if each > 0], [-each for each in found if each < 0]
    claimed = as_amount(sum((waits for _, waits in claims_unpaid()), ZERO))
    return [
        Line(f"{_families(len(owed))} owe", shown(sum(owed, ZERO))),
        Line(f"{_families(len(ahead))} in credit", shown(sum(ahead, ZERO))),
        Line("Vouchers claimed, not paid yet", shown(claimed)),
    ]


def _families(count: int) -> str:
    return "1 family" if count == 1 else f"{count} families"


CARDS = (Card("Families’ accounts", "fees.view_receipt", families, more="Balances by age", page="admin:aged_balances"),)
