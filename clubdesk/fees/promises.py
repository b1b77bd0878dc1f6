"""What a verb did to fees, in sums: for the pages that promise it."""

from collections.abc import Iterable
from typing import Any

from djmoney.money import Money

from clubdesk.fees.models import Charge, ChargeCredit
from clubdesk.fees.selectors import charges_with_open
from clubdesk.money import as_amount, total
from clubdesk.screens.promises import Did


def charged_by(did: Did[Any]) -> Money:
    """What families were charged."""
    return total(each.amount for each in did.rows(Charge))


def credited_by(did: Did[Any]) -> Money:
    """What of fees was credited."""
    return total(each.amount for each in did.rows(ChargeCredit))


def claimed_of(charges: Iterable[int]) -> Money:
    """What vouchers that stand pay of the charges (by their ids): no credit reaches it."""
    rows = charges_with_open().filter(pk__in=list(charges))
    return total(as_amount(row.by_voucher) for row in rows)


def credited_if_refused(charges: Iterable[int]) -> Money:
    """What of charges that were taken back (by their ids) is credited only where the department refuses a voucher."""
    rows = charges_with_open().filter(pk__in=list(charges), taken_back_on__isnull=False)
    return total(max(row.amount - row.kept - as_amount(row.credited), as_amount(0)) for row in rows)
