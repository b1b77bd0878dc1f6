"""Money of range days: what they put into the till and on the card reader, and what was taken to the bank."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.db.models import QuerySet

from clubdesk.expecting import PaysInto, StreamOf
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance_of, source_type
from clubdesk.money import in_all, shown
from clubdesk.rangeday.models import Banking, Paid, RangeDay, SignOn, TillCount


def into_till() -> Decimal:
    """Cash taken and found over, less what was found short and what was banked."""
    signed_on, counts = SignOn.objects.filter(paid=Paid.CASH, cancelled_on=None), _counts()
    taken = in_all(signed_on) - in_all(signed_on, "rounding")
    return taken + in_all(counts, "counted") - in_all(counts, "expected") - banked()


def onto_cards() -> Decimal:
    """What was paid by card, and what the reader's slips had more or less."""
    signed_on, counts = SignOn.objects.filter(paid=Paid.CARD, cancelled_on=None), _counts()
    return in_all(signed_on) + in_all(counts, "card_slip") - in_all(counts, "card_expected")


def _counts() -> QuerySet[TillCount]:
    return TillCount.objects.filter(reopened_on=None)


def banked() -> Decimal:
    return in_all(Banking.objects.filter(cancelled_on=None))


def uncounted(first: date, last: date) -> Iterable[date]:
    """The range days between two days that were neither counted nor called off."""
    days = RangeDay.objects.filter(date__range=(first, last), closed_on=None, called_off_on=None)
    return days.order_by("date").values_list("date", flat=True)


def _in_till() -> str:
    return f"{shown(balance_of(Role.TILL))} in the cash box"


PAYS_INTO = (PaysInto(Role.TILL, into_till, uncounted), PaysInto(Role.CARD_TAKINGS, onto_cards, uncounted))
STREAMS = (StreamOf("The cash box", 10, banked, (source_type(Banking),), _in_till),)
