"""Visitors who sign on by themselves: who waits at the table, and the link of the day by which they do it."""

from django.core.signing import BadSignature, dumps, loads
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.rangeday.models import Act, RangeDay, SignOn, Tap, TapState, Visitor
from clubdesk.rangeday.selectors import STANDS

SALT = "rangeday.visit"
NOT_WHOLE = "This address is not complete. Scan the code at the table again, or ask a helper."
OVER = "This code was for one range day, which is over. Please ask a helper at the table."


def path_of(range_day: RangeDay) -> str:
    """The address of the visitors' page of a day: signed, and good on that day alone."""
    return reverse("visit:page", args=[dumps([range_day.pk, range_day.date.isoformat()], salt=SALT)])


def day_of(token: str) -> RangeDay:
    """The day whose page an address opens. Raises Refused, in words, where it opens none any more."""
    try:
        pk, on = loads(token, salt=SALT)
    except (BadSignature, ValueError, TypeError):
        raise Refused(NOT_WHOLE) from None
    day = RangeDay.objects.filter(pk=pk).first()
    if day is None or day.date.isoformat() != on:
        raise Refused(OVER)
    refuse_other_days(day)
    return day


def refuse_other_days(day: RangeDay) -> None:
    """Whoever scans the code on another day, or after the count, is told so."""
    if day.date != clock.today() or not day.is_open:
        raise Refused(OVER)


def at_the_table(range_day: RangeDay) -> QuerySet[Visitor]:
    """Visitors who signed on by themselves and wait: nobody has confirmed them, sent them away, or asked of them."""
    taps = Tap.objects.filter(range_day=range_day, visitor=OuterRef("key")).exclude(state=TapState.UNDONE)
    seen = taps.filter(
        Q(act=Act.AWAY) | Q(state=TapState.QUESTION) | Q(sign_ons__isnull=False, sign_ons__cancelled_on=None)
    )
    return Visitor.objects.filter(~Exists(seen), range_day=range_day).order_by("pk")


def is_confirmed(tap: Tap) -> bool:
    """Whether another tap has signed on the visitor of this one."""
    others = SignOn.objects.filter(STANDS, range_day=tap.range_day, tap__visitor=tap.visitor)
    return others.exclude(tap=tap).exists()
