"""Money of fees: what families paid into the till and by card."""

from decimal import Decimal

from clubdesk.fees.models import Method, Receipt
from clubdesk.fees.selectors import STANDING
from clubdesk.ledger.models import Role
from clubdesk.money import in_all
from clubdesk.rooms import PaysInto


def into_till() -> Decimal:
    received = Receipt.objects.filter(STANDING, method=Method.CASH)
    return in_all(received) - in_all(received, "rounding")


def onto_cards() -> Decimal:
    return in_all(Receipt.objects.filter(STANDING, method=Method.CARD))


PAYS_INTO = (PaysInto(Role.TILL, into_till), PaysInto(Role.CARD_TAKINGS, onto_cards))
