"""Cash taken to the bank, as lines of a bank statement may show it."""

from collections.abc import Iterator
from datetime import date

from clubdesk.expecting import Expected
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import source_type
from clubdesk.money import cents_of
from clubdesk.rangeday.models import Banking

LATE = 12


def banked(since: date) -> Iterator[Expected]:
    """Bankings by their entries: the bank shows none before it was taken there."""
    rows = Posting.objects.filter(
        account__role=Role.BANK, entry__source_type=source_type(Banking), entry__date__gte=since, entry__sealed=True
    )
    for posting in rows.select_related("entry"):
        yield Expected(
            key=f"posting {posting.pk}",
            day=posting.entry.date,
            cents=cents_of(posting.amount),
            what=f"{posting.entry.narration} (entry {posting.entry.number})",
            early=0,
            late=LATE,
        )
