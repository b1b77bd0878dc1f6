"""Reversing: what was posted wrongly is undone by an entry of its own, and both stay."""

from datetime import date

from django.contrib.auth.models import User
from django.db import models

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.models import Journal, JournalEntry
from clubdesk.ledger.posting import Line, negated
from clubdesk.ledger.services.book import lock_book
from clubdesk.ledger.services.posting import post
from clubdesk.verbs import part


@part
def reverse(*, entry: JournalEntry, on: date, reason: str, by: User) -> JournalEntry:
    """Undo `entry` by an entry of the same lines with the other sign, dated `on` in an open month.

    Why stands in the document that is undone, and in no sealed entry: a journal keeps `reason` here, any other
    document by the verb that undoes it. Once only: the same call again returns the reversal; with another date it is
    Refused, as is a blank reason and the reversal of a reversal or of a closing entry. What was brought in before the
    first year is undone on its own day, as long as no month is locked.
    """
    on = entry.date if entry.year_id is None else on
    lock_book()
    if not reason.strip():
        raise Refused("Say why the entry is reversed.")
    if entry.reverses_id or entry.is_closing:
        raise Refused(f"{entry} is itself a reversal or a closing entry; post what is right instead.")
    earlier = JournalEntry.objects.filter(reverses=entry).first()
    if earlier:
        if earlier.date == on:
            return earlier
        raise Refused(f"{entry} is reversed already, by entry {earlier.number} on {day_text(earlier.date)}.")
    if on < entry.date:
        raise Refused(f"A reversal cannot be dated before its entry ({day_text(entry.date)}).")
    if entry.source_type == selectors.source_type(Journal):
        Journal.objects.filter(pk=entry.source_id).update(undone_reason=reason.strip()[:150])
    return post(
        source=entry,
        purpose="reverse",
        on=on,
        narration=f"Reversal of entry {entry.number}",
        lines=negated(lines_of(entry)),
        by=by,
        reverses=entry,
        is_opening=entry.year_id is None,
    )


def lines_of(entry: JournalEntry) -> list[Line]:
    """Its lines, of whoever stands for their parties now: what one owed whom another was merged into, that one owes."""
    rows = entry.postings.select_related("account", "fund", "party").order_by("pk")
    return [Line(row.account, row.amount, row.party and row.party.now, row.fund) for row in rows]


@part
def undo_entries_of(*, document: models.Model, on: date, reason: str, by: User) -> list[JournalEntry]:
    """Reverse every entry of `document` that stands; an entry of a locked month is reversed on `on`."""
    standing = selectors.entries_of(document).filter(reversed_by=None).order_by("number")
    return [reverse(entry=entry, on=max(on, entry.date), reason=reason, by=by) for entry in standing]
