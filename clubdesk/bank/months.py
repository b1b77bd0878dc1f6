"""Which month ends of an account of money must be proven: by a reconciliation that is signed off, the till and the card
takings by their counts. Questions only.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.db.models.functions import TruncMonth

from clubdesk import clock
from clubdesk.bank.models import BankAccount
from clubdesk.bank.selectors import brought_in_on, lines_of_the_book
from clubdesk.ledger.models import Account, Posting
from clubdesk.ledger.selectors import ZERO, balances, earliest_open_year, month_end, month_ends
from clubdesk.money import sum_of
from clubdesk.rooms import in_order


def standing(account: Account, first: date, last: date) -> dict[date, Decimal]:
    """What the account stood at, by each month's end of those days on which it had moved or held something."""
    before = balances(first - timedelta(days=1), ["account_id"], account=account.pk).after_closing
    held = before.get((account.pk,), ZERO)
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        account=account, entry__sealed=True, entry__date__range=(first, last)
    )
    by_month = rows.annotate(month=TruncMonth("entry__date")).order_by().values_list("month")
    moved = {month_end(month): figure for month, figure in by_month.annotate(figure=sum_of("amount"))}
    found = {}
    for end in month_ends(first, last):
        held += moved.get(end, ZERO)
        if held or end in moved:
            found[end] = held
    return found


def that_count(bank_account: BankAccount, first: date, last: date) -> list[date]:
    """The month ends of those days that the bank must prove: the account moved in the month, or held something then.

    What was before the account's opening balance is proven by the books kept before.
    """
    lines: QuerySet[Any, Any] = lines_of_the_book(bank_account).filter(date__range=(first, last)).order_by()
    told = {month_end(day) for day in lines.values_list("date", flat=True).distinct()}
    opened = brought_in_on(bank_account)
    ends = sorted(told | standing(bank_account.account, first, last).keys())
    return [end for end in ends if opened is None or end > opened]


def not_signed(bank_account: BankAccount, first: date, last: date) -> list[date]:
    """Those of them that are not signed off."""
    signed = set(bank_account.reconciliations.filter(reopened_on=None).values_list("month_end", flat=True))
    return [end for end in that_count(bank_account, first, last) if end not in signed]


def open_ones(bank_account: BankAccount, before: date) -> list[date]:
    """Of the years that are not closed, the month ends before a day that are not signed off."""
    year = earliest_open_year()
    if year is None or before <= year.first_day:
        return []
    return [end for end in not_signed(bank_account, year.first_day, before) if end < before]


def next_month(bank_account: BankAccount) -> date | None:
    """The first of them that is not signed off, this month among them; None where there is none."""
    this = month_end(clock.today())
    return next(iter(open_ones(bank_account, this + timedelta(days=1))), None)


def not_counted(account: Account, first: date, last: date) -> list[date]:
    """The month ends of the till or the card takings with a day that is not counted, or that held less than nothing."""
    told = (each for room in in_order() for each in room.pays_into if each.role == account.role)
    waiting = {month_end(day) for each in told for day in each.uncounted(first, last)}
    below = {end for end, held in standing(account, first, last).items() if held < 0}
    return sorted(waiting | below)


def named(ends: Sequence[date]) -> str:
    """“July 2026”, “July 2026 and October 2026”, “November 2026 to June 2027”."""
    spans: list[list[date]] = []
    for end in ends:
        if spans and month_end(spans[-1][-1] + timedelta(days=1)) == end:
            spans[-1].append(end)
        else:
            spans.append([end])
    said = [_span(span) for span in spans]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


def _span(span: Sequence[date]) -> str:
    return f"{span[0]:%B %Y}" if len(span) == 1 else f"{span[0]:%B %Y} to {span[-1]:%B %Y}"


def missing_of_banks(accounts: Iterable[BankAccount], first: date, last: date) -> list[str]:
    """A sentence for each bank account that has month ends which are not signed off."""
    found = ((each, not_signed(each, first, last)) for each in accounts)
    return [f"{bank}: {named(ends)} not signed off" for bank, ends in found if ends]


def missing_of_counts(accounts: Iterable[Account], first: date, last: date) -> list[str]:
    """The same of the till and the card takings, which are counted."""
    found = ((each, not_counted(each, first, last)) for each in accounts)
    return [f"{account}: {named(ends)} not counted" for account, ends in found if ends]
