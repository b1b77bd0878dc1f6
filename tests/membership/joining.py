"""The day on which memberships are tested, and whether the books are sound."""

from datetime import date

from clubdesk.ledger.invariants import check_all

NOW = date(2026, 9, 12)


def sound():
    return [result for result in check_all() if result.faults] == []
