"""How memberships stand, on the home page: how many there are, and how many end soon."""

from datetime import date, timedelta

from clubdesk.clock import day_text
from clubdesk.membership import selectors
from clubdesk.rooms import Card, Line, Waiting

SOON = timedelta(days=60)


def members(on: date) -> list[Line]:
    """Members today, and those whose membership ends within sixty days and is not renewed."""
    ending = selectors.not_renewed().filter(ends_on__range=(on, on + SOON))
    days = list(ending.order_by("ends_on").values_list("ends_on", flat=True))
    note = f"The first on {day_text(days[0])}" if days else ""
    return [
        Line("Members today", str(selectors.members_on(on).values("person").distinct().count())),
        Line("End within 60 days, not renewed", str(len(days)), note),
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
    ),
)
