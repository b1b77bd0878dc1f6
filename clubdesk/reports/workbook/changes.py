"""Every entry that undoes another, and who recorded it when."""

from django.db.models import Q
from django.utils import timezone

from clubdesk.ledger.models import JournalEntry
from clubdesk.ledger.selectors import why_undone
from clubdesk.money import sum_of
from clubdesk.reports.workbook.context import Context
from clubdesk.sheets import Heading, Look, Sheet

LOOK = Look(
    "Changes and reversals",
    (
        Heading("Entry", 8, "number"), Heading("Date", 13, "date"), Heading("Undoes", 9, "number"),
        Heading("Of", 13, "date"), Heading("Why", 60), Heading("Amount", 14, "amount"),
        Heading("Recorded by", 18, "name"), Heading("Recorded on", 13, "date"),
    ),
    landscape=True,
)  # fmt: skip


def write(context: Context, sheet: Sheet) -> None:
    first = sheet.top(context.note("Nothing is changed or deleted; it is undone by an entry of its own.")) + 1
    rows = JournalEntry.objects.filter(year=context.year, reverses__isnull=False).order_by("number")
    why = why_undone(rows.select_related("reverses"))
    rows = rows.annotate(figure=sum_of("postings__amount", Q(postings__amount__gt=0)))
    values = rows.values_list(
        "number", "date", "reverses__number", "reverses__date", "pk", "figure", "posted_by__username", "posted_at"
    )
    changes = (
        (*undone, why.get(pk), figure, who, timezone.localtime(posted_at).date())
        for *undone, pk, figure, who, posted_at in values.iterator(chunk_size=2000)
    )
    if sheet.stream(changes) < first:
        sheet.line(["Nothing was undone in this year."])
