"""How the year goes, on the home page: what came in and went out so far, beside what was planned until now."""

from datetime import date
from decimal import Decimal

from clubdesk.clock import day_text
from clubdesk.ledger.models import YEARLY_KINDS, Kind
from clubdesk.ledger.remembering import until_the_next_entry
from clubdesk.ledger.selectors import ZERO, earliest_open_year, moved_by_month
from clubdesk.money import shown
from clubdesk.rooms import Card, Line
from clubdesk.yearend.selectors import budget_by_kind


def budget_so_far(on: date) -> list[Line]:
    """Income and expenditure of the open year to that day, each beside its budget; nothing where none was planned."""
    year = earliest_open_year()
    until = min(on, year.last_day) if year else on
    planned = budget_by_kind(year.first_day, until) if year and year.first_day <= on else {}
    if year is None or not planned:
        return []
    moved = _moved(year.first_day, until)
    lines, left, meant = [], ZERO, ZERO
    for kind, words, sign in ((Kind.INCOME, "Income", -1), (Kind.EXPENSE, "Expenditure", 1)):
        was, plan = sign * moved.get(kind, ZERO), planned.get(kind, ZERO)
        left, meant = left - sign * was, meant - sign * plan
        said = f"{shown(plan)} planned until {day_text(until)}"
        lines.append(Line(words, shown(was), said, "admin:budget", (year.last_day.year,)))
    return [*lines, Line("Surplus (deficit)", shown(left), f"{shown(meant)} planned", is_total=True)]


@until_the_next_entry
def _moved(first: date, last: date) -> dict[str, Decimal]:
    """What accounts of income and of expense moved in the span, by their kind; debit positive."""
    found: dict[str, Decimal] = {}
    for (_, kind), figure in moved_by_month(first, last, ["account__kind"], account__kind__in=YEARLY_KINDS).items():
        found[kind] = found.get(kind, ZERO) + figure
    return found


CARDS = (Card("Budget so far", "ledger.view_financialyear", budget_so_far),)
