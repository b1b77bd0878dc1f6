"""What the club owes the associations for its members, and pays on to them."""

import uuid
from datetime import date

from django.contrib.auth.models import User

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Party
from clubdesk.membership import owed as owed_to
from clubdesk.membership import posting
from clubdesk.membership.models import Remittance, RemittanceLine
from clubdesk.money import as_amount, nil, shown, total
from clubdesk.verbs import verb


@verb(permission="membership.add_remittance", title="Pass the fees on")
def remit_affiliation(
    *, association: Party, through: date, on: date, by: User, key: uuid.UUID | None = None
) -> Remittance:
    """Pay an association what it gets of every fee that started by `through` and was not remitted yet.

    What was remitted for a fee that has been taken back since is deducted. Each member's share stands as a line,
    so that nobody is remitted twice. Raises Refused where nothing is owed.
    """
    ledger.lock_book()
    if found := ledger.written(Remittance, key):
        return found
    lines = [due for due in owed_to.affiliation_due(association, through) if due.owed]
    amount = total(as_amount(due.owed) for due in lines)
    if amount <= nil():
        raise Refused(f"Nothing is owed to {association} for memberships that started by {day_text(through)}.")
    owed = owed_to.affiliation_owed(association)
    if amount > owed:
        raise Refused(
            f"The ledger says that {shown(owed)} is owed to {association}, less than the {shown(amount)} of the list; "
            "ask whoever wrote to that account by hand."
        )
    document = Remittance.objects.create(
        key=key or uuid.uuid4(), association=association, amount=amount, through=through, paid_on=on, recorded_by=by
    )
    RemittanceLine.objects.bulk_create(
        RemittanceLine(remittance=document, share=due.share, amount=as_amount(due.owed)) for due in lines
    )
    ledger.post(
        source=document,
        purpose="remitted",
        on=on,
        narration=str(document),
        lines=posting.remittance_lines(amount, association),
        by=by,
    )
    return document
