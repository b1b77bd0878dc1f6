"""How the money stands, on the home page: what is in hand, by fund."""

from datetime import date
from decimal import Decimal

from clubdesk.ledger.remembering import until_the_next_entry
from clubdesk.ledger.selectors import ZERO, all_funds, balances
from clubdesk.money import shown
from clubdesk.rooms import Card, Line


@until_the_next_entry
def _in_hand(on: date) -> dict[str, Decimal]:
    """What accounts of money hold, by the code of the fund."""
    found = balances(on, ["fund_id"], account__is_money=True).after_closing
    return {fund: figure for (fund,), figure in found.items()}


def money_in_hand(on: date) -> list[Line]:
    """What the bank, the cash boxes and the card reader hold today, by fund."""
    found = _in_hand(on)
    lines = [Line(fund.name, shown(found.get(fund.pk, ZERO))) for fund in all_funds()]
    return [*lines, Line("Together", shown(sum(found.values(), ZERO)), is_total=True)]


CARDS = (Card("Money in hand", "ledger.view_journalentry", money_in_hand, leads="ledger.add_journal"),)
