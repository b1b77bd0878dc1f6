"""How the money stands, on the home page: what is in hand, by fund, and the years."""

from datetime import date
from decimal import Decimal

from clubdesk.clock import day_text
from clubdesk.ledger.models import FinancialYear, Fund
from clubdesk.ledger.remembering import until_the_next_entry
from clubdesk.ledger.selectors import ZERO, balances
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
    lines = [Line(fund.name, shown(found.get(fund.pk, ZERO))) for fund in Fund.objects.order_by("pk")]
    return [*lines, Line("Together", shown(sum(found.values(), ZERO)), is_total=True)]


MOST_YEARS = 4


def years(on: date) -> list[Line]:
    """The latest financial years: whether they are closed, and up to when they are locked."""
    return [
        Line(
            str(year),
            "closed" if year.is_closed else "open",
            f"Locked to {day_text(year.locked_through)}" if year.locked_through and not year.is_closed else "",
            "admin:ledger_financialyear_change",
            (year.pk,),
        )
        for year in FinancialYear.objects.order_by("-first_day")[:MOST_YEARS]
    ]


CARDS = (
    Card("Money in hand", "ledger.view_journalentry", money_in_hand),
    Card("Financial years", "ledger.view_financialyear", years),
)
