"""What must always be true of memberships."""

from collections.abc import Iterator

from django.db.models import F, Q

from clubdesk.clock import day_text
from clubdesk.fees.selectors import charges_with_open
from clubdesk.ledger.invariants import invariant, party_differences
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import ZERO, by_hand_of_parties
from clubdesk.membership import owed, selectors
from clubdesk.membership.models import Membership, Remittance
from clubdesk.money import shown, sum_of


@invariant("Affiliation payable equals the shares not passed on and what was written by hand, each association")
def affiliation_holds() -> Iterator[str]:
    detail = dict(owed.affiliation_detail())
    for party, figure in by_hand_of_parties(Role.AFFILIATION_PAYABLE).items():
        detail[party] = detail.get(party, ZERO) - figure
    yield from party_differences(Role.AFFILIATION_PAYABLE, detail, credit=True)


@invariant("Nobody is a member twice on one day, and each membership has its own charge")
def memberships_hold() -> Iterator[str]:
    overlapping = Membership.objects.filter(
        selectors.STANDING,
        person__memberships__cancelled_on=None,
        person__memberships__starts_on__lte=F("ends_on"),
        person__memberships__ends_on__gte=F("starts_on"),
        person__memberships__pk__gt=F("pk"),
    )
    for membership in overlapping.select_related("person", "plan"):
        yield f"{membership.person} has two memberships on one day (from {day_text(membership.starts_on)})."
    charged = Membership.objects.filter(charge__isnull=False)
    for membership in charged.exclude(charge__person=F("person")).select_related("person", "plan"):
        yield f"{membership} is charged to somebody else."
    cancelled = charges_with_open().filter(membership__cancelled_on__isnull=False)
    for charge in cancelled.filter(Q(taken_back_on=None) | Q(creditable__gt=F("kept"))):
        yield f"Charge {charge.pk} ({charge}) is for a membership that was cancelled and was not credited."


@invariant("What is passed on is the sum of its members' shares")
def remittances_hold() -> Iterator[str]:
    for remittance in Remittance.objects.annotate(found=sum_of("lines__amount")).exclude(found=F("amount")):
        yield f"{remittance} is {shown(remittance.amount)}; its lines come to {shown(remittance.found)}."
