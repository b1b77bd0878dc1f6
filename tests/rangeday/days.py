"""The day of the range days, its opening hour, and whether the books are sound."""

from datetime import UTC, date, datetime

from clubdesk.ledger.invariants import check_all

TODAY = date(2026, 9, 12)
NINE = datetime(2026, 9, 12, 9, 0, tzinfo=UTC)


def sound():
    return [result for result in check_all() if result.faults] == []
