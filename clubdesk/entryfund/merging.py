"""What the entry fund says where two people turn out to be one."""

from collections.abc import Iterator
from datetime import date

from clubdesk.entryfund.models import ClaimState, EntryClaim
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Merging


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """Two refund requests for one event."""
    if not isinstance(one, Person):
        return
    standing = EntryClaim.objects.exclude(state=ClaimState.DECLINED)
    both = standing.filter(person=other.pk, event__in=standing.filter(person=one.pk).values("event"))
    for twice in both.select_related("event").order_by("pk"):
        yield f"Both asked for the fee of {twice.event}, which is paid once: decline one of the two requests first."


MERGING = Merging(refuses=refuses)
