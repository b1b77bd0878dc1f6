"""What the bridge between the bases leaves open, for any test to ask."""

from clubdesk.ledger.selectors import month_ends
from clubdesk.reports import statements
from clubdesk.reports.selectors import Figures


def gaps(first, last, fund=None):
    """Every figure that should be nil and is not: of the bridge, of its lines, and of money in hand by receipts."""
    now = Figures(first, last, fund)
    found = []
    for each in (statements.bridge(now), statements.bridge_by_line(now)):
        rows = [each.rows[-1]] if each.columns[-1] != "Difference" else each.rows
        wanted = slice(None) if each.columns[-1] != "Difference" else slice(-1, None)
        found += [(row.label, figure) for row in rows for figure in row.figures[wanted] if figure]
    money = [row for row in statements.receipts_and_payments(now, None).rows if row.figures][-1].figures[-1]
    if money != now.money_in_hand():
        found.append(("money in hand", money - now.money_in_hand()))
    return found


def months(first, last):
    return [(end.replace(day=1), end) for end in month_ends(first, last)]
