"""How memberships stand, on the home page: how many there are, and how many end soon."""

from datetime import date, timedelta

from django.db.models import Count, Min, Q

from clubdesk.clock import day_text
from clubdesk.membership import selectors
from clubdesk.membership.models import Membership
from clubdesk.rooms import Card, Line, Waiting

SOON = timedelta(days=60)


def members(on: date) -> list[Line]:
    """Members today, and those whose membership ends within sixty days and is not renewed."""
    ends = Q(pk__in=selectors.not_renewed().order_by().values("pk"), ends_on__lte=on + SOON)
    found = Membership.objects.filter(selectors.STANDING, ends_on__gte=on).aggregate(
        today=Count("person", Q(starts_on__lte=on), distinct=True),
        ending=Count("pk", ends),
        first=Min("ends_on", filter=ends),
    )
    note = f"The first on {day_text(found['first'])}" if found["first"] else ""
    return [
        Line("Members today", str(found["today"])),
        Line("End within 60 days, not renewed", str(found["ending"]), note),
    ]


def families_to_renew(on: date) -> Waiting:
    """The families with a membership to renew, and when the first of those ends."""
    found = selectors.to_renew(on)
    ends = [membership.ends_on for own in found for membership, _ in own]
    return Waiting(len(found), by=min(ends, default=None), line="Reminders go out by themselves at night.")


CARDS = (
    Card(
        "Memberships",
        "membership.view_membership",
        members,
        more="Memberships",
        page="admin:membership_membership_changelist",
        week="membership.add_membership",
    ),
)
