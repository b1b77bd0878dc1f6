"""How families stand, on the home page: what they owe, what is paid ahead, what departments owe for vouchers."""

from datetime import date

from clubdesk.fees.models import Voucher, VoucherState
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import ZERO, party_balances
from clubdesk.money import as_amount, in_all, shown
from clubdesk.rooms import Card, Line


def families(on: date) -> list[Line]:
    """What is owed and what is in credit, never one netted against the other; vouchers claimed and not paid yet."""
    found = party_balances(Role.FEES_OWED, on).values()
    owed, ahead = [each for each in found if each > 0], [-each for each in found if each < 0]
    claimed = as_amount(in_all(Voucher.objects.filter(state=VoucherState.LODGED)))
    return [
        Line(f"{_families(len(owed))} owe", shown(sum(owed, ZERO))),
        Line(f"{_families(len(ahead))} in credit", shown(sum(ahead, ZERO))),
        Line("Vouchers claimed, not paid yet", shown(claimed)),
    ]


def _families(count: int) -> str:
    return "1 family" if count == 1 else f"{count} families"


CARDS = (Card("Families’ accounts", "fees.view_receipt", families, more="Balances by age", page="admin:aged_balances"),)
