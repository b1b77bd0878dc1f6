"""What must always be true of the year's end."""

from collections.abc import Iterator

from django.db.models import F

from clubdesk.ledger.invariants import invariant
from clubdesk.ledger.models import Journal, JournalOrigin, Role
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount, shown, total
from clubdesk.yearend.models import BudgetMonth


@invariant("Each journal of depreciation is the sum of its lines, thing by thing")
def depreciation_holds() -> Iterator[str]:
    for journal in Journal.objects.filter(origin=JournalOrigin.DEPRECIATION).prefetch_related("depreciation"):
        entry = entries_of(journal).filter(purpose="journal").first()
        posted = entry.postings.filter(account__role=Role.DEPRECIATION) if entry else []
        found, lines = total(row.amount for row in posted), total(line.amount for line in journal.depreciation.all())
        if as_amount(found) != lines:
            yield f"{journal} posted {shown(found)}; its lines come to {shown(lines)}."


@invariant("A month of the budget lies in its own year")
def budget_lies_in_its_year() -> Iterator[str]:
    for row in BudgetMonth.objects.exclude(month__gte=F("year__first_day"), month__lte=F("year__last_day")):
        yield f"{row} is outside {row.year}."
