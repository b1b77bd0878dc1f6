"""The chain of digests: each entry's digest covers its content and the digest before it."""

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Any

from clubdesk.ledger.models import JournalEntry, Posting
from clubdesk.money import plain

SEALED = (
    "previous_digest",
    "number",
    "date",
    "narration",
    "source_type",
    "source_id",
    "purpose",
    "reverses_id",
    "is_closing",
    "posted_by_id",
    "posted_at",
)
"""What of an entry its digest covers, in order."""
LINE = ("account_id", "fund_id", "party_id")
"""The same of a line, before its amount."""
Row = Sequence[Any]
as_json = json.JSONEncoder(separators=(",", ":")).encode


def digest_of(entry: JournalEntry, postings: Iterable[Posting]) -> str:
    """SHA-256 over the entry, its lines in order and `entry.previous_digest`, as hexadecimal digits."""
    lines = [[line.account_id, line.fund_id, line.party_id, plain(line.amount)] for line in postings]
    return digest_of_rows([getattr(entry, name) for name in SEALED], lines)


def digest_of_rows(entry: Row, lines: Sequence[Row]) -> str:
    """The same over plain rows: the columns `SEALED` of the entry, and of each line `LINE` and its amount as text."""
    previous, number, on, *words, posted_at = entry
    content = [previous, number, on.isoformat(), *words, round(posted_at.timestamp() * 1_000_000), lines]
    return hashlib.sha256(as_json(content).encode()).hexdigest()
