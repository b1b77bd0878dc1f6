"""What must always be true of range days; the till itself is proved in the bank room, which sees all its sources."""

from collections.abc import Iterator

from django.db.models import F, Q

from clubdesk.ledger.invariants import invariant
from clubdesk.rangeday.models import SignOn


@invariant("Each sign-on costs what the schedule says, and each one on account has its charge")
def sign_ons_hold() -> Iterator[str]:
    wrong = SignOn.objects.filter(Q(price__isnull=False) & ~Q(amount=F("price__amount")) | Q(price=None, amount__gt=0))
    for sign_on in wrong.select_related("person", "range_day"):
        yield f"{sign_on} ({sign_on.range_day}) does not cost what the schedule says."
    for sign_on in SignOn.objects.filter(paid="account").exclude(charge__amount=F("amount")):
        yield f"Sign-on {sign_on.pk} is on account and its charge differs."
