"""What the range day room says where two people turn out to be one."""

from collections.abc import Iterator
from datetime import date

from clubdesk.rangeday.models import SignOn
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Merging


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """Two who signed on for one range day."""
    if not isinstance(one, Person):
        return
    own = SignOn.objects.filter(person=one.pk, cancelled_on=None)
    both = SignOn.objects.filter(person=other.pk, cancelled_on=None, range_day__in=own.values("range_day"))
    for twice in both.select_related("range_day").order_by("range_day__date", "pk"):
        yield f"Both are signed on for {twice.range_day}, and one person is once: cancel one of the two sign-ons first."


MERGING = Merging(refuses=refuses)
