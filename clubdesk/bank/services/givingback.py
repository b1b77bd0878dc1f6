"""A voucher that is not given back to its department after all, since only the bank knows what stands in a run."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk.bank.models import ItemState, PaymentItem
from clubdesk.errors import Refused
from clubdesk.fees.models import GiveBack, GiveBackState
from clubdesk.fees.services import lock_give_back, undo_giving_back
from clubdesk.ledger import services as ledger
from clubdesk.verbs import verb


@verb(permission="fees.add_giveback", title="Undo giving back")
def undo_give_back(*, back: GiveBack, on: date, reason: str, by: User) -> GiveBack:
    """The voucher is not given back after all: it pays its fee as before, and counts in the child's year.

    For one that the department asked for by mistake, or that was recorded of the wrong voucher. Raises Refused while it
    stands in a payment run or once it was paid, and where its place in the year or its fee is another's by now.
    """
    document = lock_give_back(back)
    if document.state == GiveBackState.UNDONE:
        return document
    ledger.lock_book()
    waiting = PaymentItem.objects.filter(give_back=document, state=ItemState.WAITING).select_related("run")
    if item := waiting.first():
        raise Refused(f"It stands in {item.run}; remove it from that first.")
    return undo_giving_back(back=document, on=on, reason=reason, by=by)
