"""What must always be true of lockers."""

from collections.abc import Iterator

from django.db.models import F

from clubdesk.ledger.invariants import invariant
from tests.house.locker.models import Rent


@invariant("Each locker rent is charged to the family that rents it")
def rents_are_charged_to_their_family() -> Iterator[str]:
    for rent in Rent.objects.exclude(charge__household=F("household")):
        yield f"{rent} is charged to another family."
