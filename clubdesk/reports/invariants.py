"""What must always be true of the reports: the two bases agree, and what is stored is what the postings say."""

from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal

from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.invariants import invariant
from clubdesk.ledger.models import Account
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import shown
from clubdesk.reports import tracing


@invariant("Cash and accrual agree line by line: nothing lies between them that the bridge does not name")
def bridge_closes() -> Iterator[str]:
    day = ledger.last_day_posted()
    if day is None:
        return
    chart = tracing.Chart.read()
    gaps: dict[tuple[str, int], Decimal] = defaultdict(lambda: ZERO)
    for (fund, line, against), amount in tracing.traced(day).items():
        if against != tracing.HAND:
            gaps[fund, line] += amount
    for (account, fund), balance in ledger.balances(day, ["account_id", "fund_id"]).before_closing.items():
        if account in chart.lines:
            gaps[fund, account] += balance
    names = Account.objects.in_bulk([line for _, line in gaps])
    for (fund, line), gap in sorted(gaps.items()):
        if gap:
            yield f"{names[line]}, {fund}: {shown(gap)} lies between cash and accrual without a reason."


@invariant("Stored traces equal what the postings, receipts and vouchers say")
def stored_traces_hold() -> Iterator[str]:
    for end in tracing.months_that_differ():
        yield f"What is stored of cash by line for {end:%B %Y} is not what the postings and receipts say."
