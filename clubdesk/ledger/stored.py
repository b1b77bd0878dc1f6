"""What is stored beside the entries, against what they say: months and funds. Questions only."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import connection

from clubdesk.ledger.models import FinancialYear, Kind, Posting
from clubdesk.ledger.selectors import month_ends
from clubdesk.money import sum_of

APART = """
SELECT account_id, fund_id, party_id, SUM(balance), SUM(closing) FROM (
    SELECT account_id, fund_id, party_id, balance, closing FROM ledger_monthbalance WHERE month_end = %s
    UNION ALL
    SELECT account_id, fund_id, party_id, -balance, -closing FROM ledger_monthbalance WHERE month_end = %s
    UNION ALL
    SELECT p.account_id, p.fund_id, p.party_id, CASE WHEN e.is_closing THEN 0 ELSE -p.amount END,
        CASE WHEN e.is_closing THEN -p.amount ELSE 0 END
    FROM ledger_journalentry e JOIN ledger_posting p ON p.entry_id = e.id WHERE e.date > %s AND e.date <= %s
) moved GROUP BY account_id, fund_id, party_id HAVING SUM(balance) <> 0 OR SUM(closing) <> 0
"""
"""By how much a stored month differs from the one before it and what was posted since, in cents, where it does."""


def locked_months() -> list[date]:
    """The end of each month that is locked, in their order."""
    years = FinancialYear.objects.exclude(locked_through=None).values_list("first_day", "locked_through")
    return sorted({end for first, last in years for end in month_ends(first, last or first)})


def months_that_differ(ends: Iterable[date]) -> Iterator[tuple[date, set[int]]]:
    """Each of the months, in their order, whose stored balances are not those of the postings; with the accounts.

    A month is asked what it adds to the one before, so that every posting is read once.
    """
    wrong: dict[tuple[Any, ...], tuple[Decimal, Decimal]] = defaultdict(lambda: (Decimal(0), Decimal(0)))
    before = date.min
    for end in ends:
        with connection.cursor() as cursor:
            cursor.execute(APART, [end, before, before, end])
            for *key, balance, closing in cursor.fetchall():
                apart = wrong[tuple(key)]
                wrong[tuple(key)] = apart[0] + balance, apart[1] + closing
        if accounts := {key[0] for key, apart in wrong.items() if any(apart)}:
            yield end, accounts
        before = end


def posted_in_funds() -> dict[str, Decimal]:
    """What each fund holds by its postings, assets less liabilities, by its code."""
    rows = Posting.objects.filter(account__kind__in=(Kind.ASSET, Kind.LIABILITY)).values_list("fund_id")
    return dict(rows.annotate(figure=sum_of("amount")).order_by())
