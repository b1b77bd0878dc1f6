"""Phones of a day that have not been heard of for a while: what one has not sent is not in the book."""

import uuid
from datetime import timedelta

from django.db.models import QuerySet
from django.utils.timezone import localtime

from clubdesk import clock
from clubdesk.dates import hour_text
from clubdesk.rangeday.models import Phone, RangeDay
from clubdesk.rangeday.selectors import name_of

SILENT = timedelta(minutes=3)
"""A sheet that is open is heard of each minute."""


def silent(range_day: RangeDay, but: uuid.UUID | None = None) -> QuerySet[Phone]:
    """Those whose entries may be missing first, the longest silent of them first; without the one that asks."""
    rows = Phone.objects.filter(range_day=range_day, seen_at__lt=clock.machine() - SILENT)
    if but:
        rows = rows.exclude(key=but)
    return rows.select_related("user").order_by("-unsent", "seen_at")


def in_words(phone: Phone) -> str:
    """Whose it is, when it was last seen, and what it had still to send."""
    entries = f"{phone.unsent} {'entry' if phone.unsent == 1 else 'entries'}"
    rest = f" with {entries} to send" if phone.unsent else ""
    return f"phone of {name_of(phone.user)}, last seen {hour_text(localtime(phone.seen_at).time())}{rest}"
