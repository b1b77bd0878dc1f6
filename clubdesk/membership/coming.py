"""What of memberships is due in the weeks ahead: what associations get of them."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from clubdesk.expecting import Coming
from clubdesk.ledger.models import Role
from clubdesk.ledger.remembering import until_the_next_entry
from clubdesk.ledger.selectors import balance_of


@until_the_next_entry
def _owed() -> Decimal:
    return balance_of(Role.AFFILIATION_PAYABLE)


def due_of_associations(first: date, last: date) -> Iterator[Coming]:
    """What the club owes them; no day is set for it."""
    if owed := _owed():
        yield Coming(None, round(owed * 100), "fees to pass on")
