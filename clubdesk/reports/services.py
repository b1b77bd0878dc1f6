"""What the reports store of a locked month, put right where it is wrong."""

from collections.abc import Iterator

from clubdesk.ledger.services import mends
from clubdesk.reports import tracing
from clubdesk.reports.models import MonthTrace


@mends("reports_monthtrace")
def mend_traces() -> Iterator[str]:
    """From the first month that is wrong on they are stored anew, since each is reckoned from the one before."""
    wrong = tracing.months_that_differ()
    if wrong:
        later = [end for end in tracing.stored_months() if end >= wrong[0]]
        MonthTrace.objects.filter(month_end__gte=wrong[0]).delete()
        for end in later:
            tracing.store_month(month_end=end)
        yield from (f"What is stored of cash by line for {end:%B %Y} was put right." for end in wrong)
