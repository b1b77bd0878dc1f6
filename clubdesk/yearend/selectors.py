"""Questions of the year's end."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from djmoney.money import Money

from clubdesk.ledger.models import YEARLY_KINDS, Account, FinancialYear, Journal, JournalEntry, Kind, Role
from clubdesk.ledger.selectors import ZERO, month_end, moved_by_month, source_type
from clubdesk.money import cents_of, from_cents, half_up, nil
from clubdesk.yearend.models import BudgetMonth, Comparative, GstReturn


def months_of(year: FinancialYear) -> list[date]:
    """The first day of each month of the year."""
    months = [year.first_day]
    while (following := month_end(months[-1]) + timedelta(days=1)) <= year.last_day:
        months.append(following)
    return months


def budget_of(first: date, last: date) -> dict[int, Decimal]:
    """What is planned for each account in the span, by the account's id.

    Of a month that is not in it whole its days count, to the cent (common practice, no source).
    """
    return _planned(first, last, "account_id")


def budget_by_kind(first: date, last: date) -> dict[str, Decimal]:
    """What is planned in the span as income and as expense."""
    return _planned(first, last, "account__kind")


def _planned(first: date, last: date, of: str) -> dict[Any, Decimal]:
    found: dict[Any, Decimal] = {}
    rows = BudgetMonth.objects.filter(month__range=(first.replace(day=1), last)).order_by()
    for month, amount, key in rows.values_list("month", "amount", of):
        end = month_end(month)
        until, before = min(end, last).day, max(month, first).day - 1
        figure = half_up(amount.amount * until / end.day) - half_up(amount.amount * before / end.day)
        found[key] = found.get(key, ZERO) + figure
    return found


def actual_by_month(year: FinancialYear, months: Sequence[date] | None = None) -> dict[int, dict[date, Decimal]]:
    """What each account really was in the months (their first days), the year's own unless said; usual above nil."""
    months = list(months or months_of(year))
    found: dict[int, dict[date, Decimal]] = {}
    signs = {each.pk: -1 if each.kind == Kind.INCOME else 1 for each in yearly_accounts()}
    moved = moved_by_month(months[0], month_end(months[-1]), ["account_id"], account__in=signs)
    for (end, account), figure in sorted(moved.items()):
        if figure:
            found.setdefault(account, {})[end.replace(day=1)] = signs[account] * figure
    return found


def set_off(months: Mapping[date, Decimal]) -> dict[date, Decimal]:
    """The months with what is below nil taken off the ones after it, then off those before; their sum stays.

    Where the whole is below nil nothing is left.
    """
    left = dict(sorted(months.items()))
    for order in (list(left), list(reversed(left))):
        owed = ZERO
        for month in order:
            figure = left[month] + owed
            left[month], owed = max(figure, ZERO), min(figure, ZERO)
        if not owed:
            return left
        left[order[-1]] += owed
    return dict.fromkeys(left, ZERO)


def budget_by_month(year: FinancialYear) -> dict[int, dict[date, Decimal]]:
    """For each account with a budget, what is planned by month."""
    found: dict[int, dict[date, Decimal]] = {}
    for row in BudgetMonth.objects.filter(year=year):
        found.setdefault(row.account_id, {})[row.month] = row.amount.amount
    return found


def comparatives(year_end: date) -> list[Comparative]:
    """The typed figures of the year that ended on that day."""
    return list(Comparative.objects.filter(year_end=year_end).select_related("account", "fund"))


def printed_by_month(months: Sequence[date]) -> dict[int, dict[date, Decimal]]:
    """The typed income and expense of the year of those months, by account, in equal parts; what is usual above nil."""
    whole: dict[int, Money] = {}
    for row in comparatives(month_end(months[-1])):
        if row.account.kind in YEARLY_KINDS:
            whole[row.account_id] = row.amount + whole.get(row.account_id, nil())
    return {pk: {month: each.amount for month, each in spread(amount, months).items()} for pk, amount in whole.items()}


def expense_accounts() -> QuerySet[Account]:
    return Account.objects.filter(kind=Kind.EXPENSE).exclude(
        role__in=(Role.TRANSFERS, Role.DEPRECIATION, Role.DISPOSALS)
    )


def yearly_accounts() -> QuerySet[Account]:
    return Account.objects.filter(kind__in=(Kind.INCOME, Kind.EXPENSE)).exclude(role=Role.TRANSFERS)


def spread(whole: Money, months: Sequence[date]) -> dict[date, Money]:
    """A year's amount in equal parts a month, the odd cents in the first months."""
    each, odd = divmod(cents_of(whole), len(months))
    return {month: from_cents(each + (1 if place < odd else 0)) for place, month in enumerate(months)}


def returns_that_stand() -> QuerySet[GstReturn]:
    """GST returns whose journal was not reversed, the latest first."""
    standing = JournalEntry.objects.filter(
        source_type=source_type(Journal),
        purpose="journal",
        reversed_by=None,
        source_id__in=GstReturn.objects.values("journal"),
    )
    return GstReturn.objects.filter(journal__in=standing.values("source_id"))
