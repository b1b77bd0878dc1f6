"""Money of the entry fund: what the depot paid for containers."""

from decimal import Decimal

from clubdesk.entryfund.models import ContainerReturn, PaidInto
from clubdesk.entryfund.selectors import bags_in_words, returns_that_stand
from clubdesk.expecting import PaysInto, StreamOf
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import source_type
from clubdesk.money import in_all


def into_till() -> Decimal:
    return in_all(returns_that_stand().filter(paid_into=PaidInto.TILL))


def into_bank() -> Decimal:
    return in_all(returns_that_stand().filter(paid_into=PaidInto.BANK))


PAYS_INTO = (PaysInto(Role.TILL, into_till),)
STREAMS = (StreamOf("The depot", 40, into_bank, (source_type(ContainerReturn),), lambda: f"bags: {bags_in_words()}"),)
