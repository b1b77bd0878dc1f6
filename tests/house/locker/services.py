"""Verbs of lockers."""

import uuid
from datetime import date

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeItem
from clubdesk.fees.selectors import price_on
from clubdesk.ledger.services import written
from clubdesk.roll.models import Household
from clubdesk.verbs import verb
from tests.house.locker.models import Locker, Rent


@verb(permission="locker.add_rent", title="Rent a locker")
def rent_locker(
    *,
    household: Household,
    locker: Locker,
    item: FeeItem,
    starts_on: date,
    ends_on: date,
    on: date,
    by: User,
    key: uuid.UUID | None = None,
) -> Rent:
    """The family rents the locker and owes its fee. Raises Refused where somebody rents it then."""
    fees.queue(household)
    if found := written(Rent, key):
        return found
    if locker.rents.filter(state="rented", starts_on__lte=ends_on, ends_on__gte=starts_on).exists():
        raise Refused(f"{locker} is rented on those days; choose another.")
    charge = fees.charge(household=household, price=price_on(item, starts_on), on=on, starts_on=starts_on, by=by)
    return Rent.objects.create(
        key=key or uuid.uuid4(),
        locker=locker,
        household=household,
        starts_on=starts_on,
        ends_on=ends_on,
        charge=charge,
        recorded_by=by,
    )


@verb(permission="locker.change_rent", title="Give the locker up")
def give_up_locker(*, rent: Rent, on: date, reason: str, by: User) -> Rent:
    """The family gives the locker up before the term; its fee is credited."""
    fees.queue(rent.household)
    document = Rent.objects.get(pk=rent.pk)
    if document.state == "given_up":
        return document
    fees.take_back(charge=document.charge, on=on, reason=reason, by=by)
    document.state, document.reason = "given_up", reason.strip()[:150]
    document.save(update_fields=["state", "reason"])
    return document
