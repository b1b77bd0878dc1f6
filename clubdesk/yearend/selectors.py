"""Questions of the year's end."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import QuerySet
from djmoney.money import Money

from clubdesk.ledger.models import Account, FinancialYear, Fund, Kind, Role
from clubdesk.ledger.selectors import ZERO, balances, month_end, summed
from clubdesk.money import as_amount
from clubdesk.yearend.models import BudgetMonth, Comparative


def months_of(year: FinancialYear) -> list[date]:
    """The first day of each month of the year."""
    months = [year.first_day]
    while (following := month_end(months[-1]) + timedelta(days=1)) <= year.last_day:
        months.append(following)
    return months


def budget_of(first: date, last: date) -> dict[int, Decimal]:
    """What is planned for each account in the months that begin in the span, by the account's id."""
    rows = BudgetMonth.objects.filter(month__range=(first, last)).order_by().values_list("account_id")
    return dict(rows.annotate(figure=summed("amount")))


def budget_by_month(year: FinancialYear) -> dict[int, dict[date, Decimal]]:
    """For each account with a budget, what is planned by month."""
    found: dict[int, dict[date, Decimal]] = {}
    for row in BudgetMonth.objects.filter(year=year):
        found.setdefault(row.account_id, {})[row.month] = row.amount.amount
    return found


def comparatives(year_end: date) -> list[Comparative]:
    """The typed figures of the year that ended on that day."""
    return list(Comparative.objects.filter(year_end=year_end).select_related("account", "fund"))


def held_in(role: Role, fund: Fund, as_at: date) -> Decimal:
    """What the account with the role stands at in one fund."""
    found = balances(as_at, ["account_id"], account__role=role, fund=fund).after_closing
    return sum(found.values(), ZERO)


def expense_accounts() -> QuerySet[Account]:
    return Account.objects.filter(kind=Kind.EXPENSE).exclude(
        role__in=(Role.TRANSFERS, Role.DEPRECIATION, Role.DISPOSALS)
    )


def yearly_accounts() -> QuerySet[Account]:
    return Account.objects.filter(kind__in=(Kind.INCOME, Kind.EXPENSE)).exclude(role=Role.TRANSFERS)


def spread(whole: Money, months: Sequence[date]) -> dict[date, Money]:
    """A year's amount in equal parts a month, the odd cents in the first months."""
    cents = int(whole.amount * 100)
    each, odd = divmod(cents, len(months))
    return {month: as_amount(each + (1 if place < odd else 0)) / 100 for place, month in enumerate(months)}
