"""The chain of digests: each entry's digest covers its content and the digest before it."""

import hashlib
import json
from collections.abc import Iterable

from clubdesk.ledger.models import JournalEntry, Posting
from clubdesk.money import plain


def digest_of(entry: JournalEntry, postings: Iterable[Posting]) -> str:
    """SHA-256 over the entry, its lines in order and `entry.previous_digest`, as hexadecimal digits."""
    content = [
        entry.previous_digest,
        entry.number,
        entry.date.isoformat(),
        entry.narration,
        entry.source_type,
        entry.source_id,
        entry.purpose,
        entry.reverses_id,
        entry.is_closing,
        entry.posted_by_id,
        round(entry.posted_at.timestamp() * 1_000_000),
        [[line.account_id, line.fund_id, line.party_id, plain(line.amount)] for line in postings],
    ]
    return hashlib.sha256(json.dumps(content, separators=(",", ":")).encode()).hexdigest()
