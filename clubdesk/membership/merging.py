"""What the membership room says where two people turn out to be one."""

from collections.abc import Iterator
from datetime import date

from clubdesk.clock import day_text
from clubdesk.membership.models import LeaveRequest, LeaveState, Membership
from clubdesk.membership.selectors import STANDING
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Merging


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """Two memberships for the same days, and two requests to leave that wait."""
    if not isinstance(one, Person):
        return
    if all(LeaveRequest.objects.filter(person=each.pk, state=LeaveState.ASKED).exists() for each in (one, other)):
        yield "Both have asked to leave: answer one of the two requests first."
    own, others = (
        list(Membership.objects.filter(STANDING, person=each.pk).order_by("starts_on")) for each in (one, other)
    )
    for each in own:
        for twice in others:
            if each.starts_on <= twice.ends_on and twice.starts_on <= each.ends_on:
                day = day_text(max(each.starts_on, twice.starts_on))
                yield f"Both are members on {day}, and one person is once: cancel one of the two memberships first."


MERGING = Merging(refuses=refuses)
