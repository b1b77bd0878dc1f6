"""What must always be true of memberships."""

from collections.abc import Iterator

from django.db.models import F

from clubdesk.ledger.invariants import invariant, party_differences
from clubdesk.ledger.models import Role
from clubdesk.membership import selectors
from clubdesk.membership.models import Membership


@invariant("Affiliation payable equals the shares not remitted, association by association")
def affiliation_holds() -> Iterator[str]:
    yield from party_differences(Role.AFFILIATION_PAYABLE, selectors.affiliation_detail(), credit=True)


@invariant("Nobody is a member twice on one day, and each membership has its own charge")
def memberships_hold() -> Iterator[str]:
    overlapping = Membership.objects.filter(
        person__memberships__starts_on__lte=F("ends_on"),
        person__memberships__ends_on__gte=F("starts_on"),
        person__memberships__pk__gt=F("pk"),
    )
    for membership in overlapping.select_related("person", "plan"):
        yield f"{membership.person} has two memberships on one day (from {membership.starts_on:%-d %b %Y})."
    for membership in Membership.objects.exclude(charge__person=F("person")).select_related("person", "plan"):
        yield f"{membership} is charged to somebody else."
