"""What the associations are owed of members' fees, and what was remitted of it."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Exists, F, OuterRef, Q
from djmoney.money import Money

from clubdesk.fees.models import ChargeShare
from clubdesk.fees.posting import parts_left, shares_left
from clubdesk.fees.selectors import SumPer, charges_with_open
from clubdesk.ledger.models import Party, Role
from clubdesk.ledger.selectors import ZERO, party_balance
from clubdesk.membership.models import RemittanceLine
from clubdesk.money import as_amount, figure_of, sum_of


def affiliation_owed(association: Party) -> Money:
    """What the ledger says the club owes the association; positive where it owes."""
    return as_amount(-party_balance(Role.AFFILIATION_PAYABLE, association.pk))


@dataclass(frozen=True)
class Due:
    """What an association gets of one member's fee that has started, less what was remitted; negative to deduct."""

    share: ChargeShare
    stands: Decimal
    remitted: Decimal

    @property
    def owed(self) -> Decimal:
        return self.stands - self.remitted


def affiliation_due(
    association: Party | None = None, through: date | None = None, since: date | None = None
) -> list[Due]:
    """Each association's share of fees that have become income, the oldest first; in a period where one is given.

    A fee becomes income on the day it starts or, where that had passed, on the day it was charged. Fees of which every
    share was remitted and nothing was credited are left out: nothing of them is owed.
    """
    started = Q(recognised_on__isnull=False) | Q(starts_on__lte=F("charged_on"))
    if through:
        started &= Q(starts_on__lte=through)
    if since:
        started &= Q(starts_on__gte=since)
    owing = ChargeShare.objects.filter(charge=OuterRef("pk"), party__isnull=False)
    owing = owing.annotate(remitted=SumPer(RemittanceLine, "share")).exclude(amount=F("remitted"))
    charges = charges_with_open().filter(started, Exists(owing) | Q(credited__gt=0))
    left = {row.pk: as_amount(row.amount.amount - row.credited) for row in charges}
    shares = ChargeShare.objects.filter(charge__in=left).select_related(
        "charge__person", "charge__household", "charge__price__item", "party"
    )
    by_charge: dict[int, list[ChargeShare]] = defaultdict(list)
    for share in shares.order_by("charge__starts_on", "charge_id", "pk"):
        by_charge[share.charge_id].append(share)
    remitted = dict(
        RemittanceLine.objects.filter(share__in=shares)
        .values_list("share")
        .annotate(figure=sum_of("amount"))
        .order_by()
    )
    return [
        Due(share, stands.amount, remitted.get(share.pk, ZERO))
        for charge, own in by_charge.items()
        for share, stands in zip(own, shares_left(left[charge], own), strict=True)
        if share.party_id and (association is None or share.party_id == association.pk)
    ]


def affiliation_detail() -> dict[int, Decimal]:
    """What is owed by the members' fees and their remittances, by association."""
    started = Q(recognised_on__isnull=False) | Q(starts_on__lte=F("charged_on"))
    charges = charges_with_open().filter(started, shares__party__isnull=False).distinct()
    left = {
        pk: amount - taken_back for pk, amount, taken_back in charges.values_list("pk", figure_of("amount"), "credited")
    }
    shares: dict[int, list[tuple[int | None, Decimal]]] = defaultdict(list)
    rows: Any = ChargeShare.objects.order_by("pk").values_list("charge", "party", figure_of("amount"))
    for charge, party, amount in rows:
        shares[charge].append((party, amount))
    found: dict[int, Decimal] = defaultdict(lambda: ZERO)
    for charge, rest in left.items():
        parts = parts_left(rest, [amount for _, amount in shares[charge]])
        for (owner, _), part in zip(shares[charge], parts, strict=True):
            if owner:
                found[owner] += part
    remitted = RemittanceLine.objects.order_by().values_list("share__party").annotate(figure=sum_of("amount"))
    for party, figure in remitted:
        found[party] -= figure
    return dict(found)
