"""Money of the entry fund: what the depot paid for containers."""

from decimal import Decimal

from clubdesk.entryfund.models import PaidInto
from clubdesk.entryfund.selectors import returns_that_stand
from clubdesk.ledger.models import Role
from clubdesk.money import in_all
from clubdesk.rooms import PaysInto


def into_till() -> Decimal:
    return in_all(returns_that_stand().filter(paid_into=PaidInto.TILL))


PAYS_INTO = (PaysInto(Role.TILL, into_till),)
