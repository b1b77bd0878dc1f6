"""What must always be true of the year's end."""

from collections.abc import Iterator

from django.db.models import F, Q

from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.fees.models import Charge, ChargeCredit, WriteOff
from clubdesk.ledger.invariants import differences, invariant
from clubdesk.ledger.models import Journal, JournalOrigin, Kind, Posting, Role
from clubdesk.ledger.selectors import BY_HAND, entries_of, source_type
from clubdesk.money import as_amount, in_all, shown, sum_of, total
from clubdesk.rangeday.models import SignOn
from clubdesk.yearend.models import BudgetMonth, FoundTaxLine, GstReturn


@invariant("Each journal of depreciation is the sum of its lines, thing by thing")
def depreciation_holds() -> Iterator[str]:
    for journal in Journal.objects.filter(origin=JournalOrigin.DEPRECIATION).prefetch_related("depreciation"):
        entry = entries_of(journal).first()
        posted = entry.postings.filter(account__role=Role.DEPRECIATION) if entry else []
        found, lines = total(row.amount for row in posted), total(line.amount for line in journal.depreciation.all())
        if as_amount(found) != lines:
            yield f"{journal} posted {shown(found)}; its lines come to {shown(lines)}."


@invariant("A month of the budget lies in its own year")
def budget_lies_in_its_year() -> Iterator[str]:
    for row in BudgetMonth.objects.exclude(month__gte=F("year__first_day"), month__lte=F("year__last_day")):
        yield f"{row} is outside {row.year}."


OF_SALES = Q(account__kind=Kind.INCOME) | Q(account__role=Role.WRITTEN_OFF)
"""Lines whose GST was collected; in any other it was paid."""


@invariant("GST collected is the tax of what was charged and paid, and what was written by hand")
def gst_collected_holds() -> Iterator[str]:
    written = (
        in_all(Charge.objects.all(), "tax")
        - in_all(ChargeCredit.objects.filter(cancelled_on=None), "tax")
        - in_all(WriteOff.objects.filter(cancelled_on=None), "tax")
        + in_all(SignOn.objects.filter(cancelled_on=None), "tax")
        - in_all(FoundTaxLine.objects.filter(OF_SALES), "tax")
    )
    posted = -in_all(Posting.objects.filter(account__role=Role.GST_COLLECTED).exclude(BY_HAND))
    yield from differences("GST collected", {"all": posted}, {"all": written})


@invariant("GST paid is the tax of the bills that were approved, and what was written by hand")
def gst_paid_holds() -> Iterator[str]:
    approved = Expense.objects.filter(state__in=(ExpenseState.APPROVED, ExpenseState.PAID))
    written = in_all(approved, "tax") + in_all(FoundTaxLine.objects.exclude(OF_SALES), "tax")
    posted = in_all(Posting.objects.filter(account__role=Role.GST_PAID).exclude(BY_HAND))
    yield from differences("GST paid", {"all": posted}, {"all": written})


@invariant("Each GST return is what its journal posted")
def gst_returns_hold() -> Iterator[str]:
    rows = Posting.objects.filter(
        account__role=Role.GST, entry__source_type=source_type(Journal), entry__purpose="journal"
    )
    owed = dict(rows.order_by().values_list("entry__source_id").annotate(figure=sum_of("amount")))
    for each in GstReturn.objects.order_by("pk"):
        if each.payable != as_amount(-owed.get(each.journal_id, 0)):
            yield f"{each} says {shown(each.payable)}; its journal posted {shown(-owed.get(each.journal_id, 0))}."
