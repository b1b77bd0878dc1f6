"""Arrangements: a family pays what it owes in parts, which never come to more than it owes."""

import uuid
from collections.abc import Sequence
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import accounts, selectors
from clubdesk.fees.models import Arrangement, ArrangementPart
from clubdesk.fees.services.charging import queue
from clubdesk.ledger import services as ledger
from clubdesk.money import nil, positive, shown, total
from clubdesk.roll.models import Household
from clubdesk.verbs import part, verb

LAID_ANEW = "Laid anew, since less is owed."


@verb(permission="fees.add_arrangement", title="Agree on parts")
def agree_parts(
    *,
    household: Household,
    parts: Sequence[tuple[date, Money]],
    on: date,
    by: User,
    note: str = "",
    key: uuid.UUID | None = None,
) -> Arrangement:
    """The household will pay in parts, each by its day; an arrangement that stood before ends.

    Raises Refused where the parts do not come to what the household owes, or one lies before `on`.
    """
    household = queue(household)
    if found := ledger.written(Arrangement, key):
        return found
    owed = selectors.balance(household)
    agreed = total(positive(amount, "A part") for _, amount in parts)
    if owed <= nil():
        raise Refused(f"{household} owes nothing.")
    if agreed != owed:
        raise Refused(f"The parts come to {shown(agreed)}; {household} owes {shown(owed)}.")
    if any(day < on for day, _ in parts) or len({day for day, _ in parts}) < len(parts):
        raise Refused("Each part needs a day of its own, today or later.")
    Arrangement.objects.filter(household=household, ended_on=None).update(ended_on=on)
    return _write(household, sorted(parts), on, note.strip(), by, key)


def _write(
    household: Household,
    parts: Sequence[tuple[date, Money]],
    agreed_on: date,
    note: str,
    by: User,
    key: uuid.UUID | None = None,
) -> Arrangement:
    document = Arrangement.objects.create(
        key=key or uuid.uuid4(), household=household, agreed_on=agreed_on, note=note[:150], recorded_by=by
    )
    ArrangementPart.objects.bulk_create(
        ArrangementPart(arrangement=document, due_on=day, amount=amount) for day, amount in parts
    )
    return document


@part
def lay_anew(*, household: Household, on: date, by: User) -> Arrangement | None:
    """Where the parts that are left come to more than the household owes, they are laid anew; else nothing changes.

    What is too much comes off the last parts, so that the next days stay as agreed (common practice, no source).
    Returns the new arrangement, or None where nothing is left to pay or nothing had to change.
    """
    standing = accounts.standing_arrangements().filter(household=household).first()
    if standing is None:
        return None
    left, owed = accounts.parts_left(standing), selectors.balance(household)
    if total(amount for _, amount in left) <= max(owed, nil()):
        return None
    standing.ended_on = max(on, standing.agreed_on)
    standing.save(update_fields=["ended_on"])
    laid = []
    for day, amount in left:
        amount = min(amount, owed)
        owed -= amount
        if amount > nil():
            laid.append((day, amount))
    note = standing.note if standing.note.startswith(LAID_ANEW) else f"{LAID_ANEW} {standing.note}".strip()
    return _write(household, laid, standing.agreed_on, note, by) if laid else None


@verb(permission="fees.add_arrangement", title="End the arrangement")
def end_arrangement(*, arrangement: Arrangement, on: date, by: User) -> Arrangement:
    """The arrangement holds no longer; what is owed is due as before."""
    queue(arrangement.household)
    document = Arrangement.objects.get(pk=arrangement.pk)
    if document.ended_on is None:
        document.ended_on = on
        document.save(update_fields=["ended_on"])
    return document
