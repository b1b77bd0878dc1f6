"""The days of a payment run, and what its tests ask of the books."""

from datetime import date

from clubdesk.bank import services
from clubdesk.ledger.invariants import check_all

NOW, LATER = date(2026, 9, 12), date(2026, 9, 16)


def sound():
    return [(result.name, result.faults) for result in check_all() if result.faults] == []


def paid(run, by):
    services.record_paid(run=run, items=list(run.items.all()), on=LATER, by=by)
    return {item.what.split()[0]: item for item in run.items.all()}
