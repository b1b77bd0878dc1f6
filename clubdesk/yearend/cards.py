"""How the year goes, on the home page: what came in and went out so far, beside what was planned until now."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from clubdesk.clock import day_text
from clubdesk.ledger.models import YEARLY_KINDS, Account, Kind
from clubdesk.ledger.remembering import until_the_next_entry
from clubdesk.ledger.selectors import ZERO, earliest_open_year, moved_by_month
from clubdesk.money import shown
from clubdesk.rooms import Card, Line
from clubdesk.yearend.selectors import budget_of, yearly_accounts


def budget_so_far(on: date) -> list[Line]:
    """Income and expenditure of the open year to that day, each beside its budget; nothing where none was planned."""
    year = earliest_open_year()
    until = min(on, year.last_day) if year else on
    planned = budget_of(year.first_day, until) if year and year.first_day <= on else {}
    if year is None or not planned:
        return []
    accounts = list(yearly_accounts())
    moved = _moved(year.first_day, until)
    lines, left, meant = [], ZERO, ZERO
    for kind, words, sign in ((Kind.INCOME, "Income", -1), (Kind.EXPENSE, "Expenditure", 1)):
        was, plan = sign * _of(kind, accounts, moved), _of(kind, accounts, planned)
        left, meant = left - sign * was, meant - sign * plan
        said = f"{shown(plan)} planned until {day_text(until)}"
        lines.append(Line(words, shown(was), said, "admin:budget", (year.last_day.year,)))
    return [*lines, Line("Surplus (deficit)", shown(left), f"{shown(meant)} planned", is_total=True)]


@until_the_next_entry
def _moved(first: date, last: date) -> dict[int, Decimal]:
    """What each account of income and expense moved in the span, by its id; debit positive."""
    found: dict[int, Decimal] = {}
    for (_, account), figure in moved_by_month(first, last, ["account_id"], account__kind__in=YEARLY_KINDS).items():
        found[account] = found.get(account, ZERO) + figure
    return found


def _of(kind: Kind, accounts: list[Account], figures: Mapping[int, Decimal]) -> Decimal:
    return sum((figures.get(each.pk, ZERO) for each in accounts if each.kind == kind), ZERO)


CARDS = (Card("Budget so far", "ledger.view_financialyear", budget_so_far),)
