"""Money of fees: what families paid into the till, by card and to the bank, and what the department paid there."""

from decimal import Decimal

from clubdesk.expecting import PaysInto, StreamOf
from clubdesk.fees.models import PAID_IN, Lodgement, Method, Receipt, Voucher
from clubdesk.fees.selectors import STANDING
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance_of, source_type
from clubdesk.money import in_all, shown


def into_till() -> Decimal:
    received = Receipt.objects.filter(STANDING, method=Method.CASH)
    return in_all(received) - in_all(received, "rounding")


def onto_cards() -> Decimal:
    return in_all(Receipt.objects.filter(STANDING, method=Method.CARD))


def by_department() -> Decimal:
    """Voucher claims that were paid, also what was given back of them since."""
    paid = Voucher.objects.filter(state__in=PAID_IN, lodgement__paid_on__isnull=False)
    return in_all(paid) + in_all(paid, "given_back")


def by_transfer() -> Decimal:
    return in_all(Receipt.objects.filter(STANDING, method=Method.TRANSFER))


def _for_vouchers() -> str:
    return f"{shown(balance_of(Role.VOUCHERS_OWED))} owed for vouchers"


def _by_families() -> str:
    return f"{shown(balance_of(Role.FEES_OWED))} owed by families"


PAYS_INTO = (PaysInto(Role.TILL, into_till), PaysInto(Role.CARD_TAKINGS, onto_cards))
STREAMS = (
    StreamOf("The department", 30, by_department, (source_type(Lodgement),), _for_vouchers),
    StreamOf("Families, by transfer", 50, by_transfer, (source_type(Receipt),), _by_families),
)
