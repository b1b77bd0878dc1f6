"""What must always be true of range days; the till itself is proved in the bank room, which sees all its sources."""

from collections.abc import Iterator

from django.db.models import F, Prefetch, Q

from clubdesk.fees.models import FeePrice, FeeShare
from clubdesk.fees.posting import tax_in
from clubdesk.ledger.invariants import invariant
from clubdesk.money import shown
from clubdesk.rangeday.models import SignOn


@invariant("Each sign-on costs what the schedule says, and each one on account has its charge")
def sign_ons_hold() -> Iterator[str]:
    wrong = SignOn.objects.filter(Q(price__isnull=False) & ~Q(amount=F("price__amount")) | Q(price=None, amount__gt=0))
    for sign_on in wrong.select_related("person", "range_day"):
        yield f"{sign_on} ({sign_on.range_day}) does not cost what the schedule says."
    for sign_on in SignOn.objects.filter(paid="account").exclude(charge__amount=F("amount")):
        yield f"Sign-on {sign_on.pk} is on account and its charge differs."


@invariant("The GST in a fee paid at the range is an eleventh of the club's part")
def tax_at_the_range_holds() -> Iterator[str]:
    shares = Prefetch("shares", FeeShare.objects.select_related("party"))
    prices = FeePrice.objects.prefetch_related(shares).in_bulk()
    rows = SignOn.objects.filter(tax__gt=0).order_by().values_list("price", "amount", "tax").distinct()
    for price, amount, tax in rows:
        if tax != tax_in(amount, list(prices[price].shares.all())):
            yield f"Fees of {shown(amount)} paid at the range have {shown(tax)} of GST in them ({prices[price]})."
