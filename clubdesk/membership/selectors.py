"""Questions about memberships."""

from datetime import date
from decimal import Decimal

from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.fees.models import FeeShare
from clubdesk.fees.posting import income_lines
from clubdesk.fees.selectors import charges_with_open
from clubdesk.ledger.models import Party, Role
from clubdesk.ledger.selectors import ZERO, party_balance
from clubdesk.membership.models import Membership, Remittance
from clubdesk.money import as_amount
from clubdesk.roll.models import Person


def membership_on(person: Person, day: date) -> Membership | None:
    """The membership that covers the person on `day`, or None."""
    return Membership.objects.filter(person=person, starts_on__lte=day, ends_on__gte=day).first()


def is_member(person: Person, day: date) -> bool:
    return membership_on(person, day) is not None


def affiliation_owed(association: Party) -> Money:
    """What the ledger says the club owes the association; positive where it owes."""
    return as_amount(-party_balance(Role.AFFILIATION_PAYABLE, association.pk))


def affiliation_detail() -> dict[int, Decimal]:
    """Shares of what is left of started fees, less what was remitted, by association."""
    found: dict[int, Decimal] = {}
    shares: dict[int, list[FeeShare]] = {}
    for share in FeeShare.objects.select_related("account", "party"):
        shares.setdefault(share.price_id, []).append(share)
    started = charges_with_open().filter(Q(recognised_on__isnull=False) | Q(starts_on__lte=F("charged_on")))
    for charge in started.filter(price__in=shares).select_related("price__item__income_account"):
        left = as_amount(charge.amount.amount - charge.credited)
        for line in income_lines(left, charge.amount, charge.price.item.income_account, shares[charge.price_id]):
            if line.party:
                found[line.party.pk] = found.get(line.party.pk, ZERO) - line.amount.amount
    for remittance in Remittance.objects.all():
        found[remittance.association_id] = found.get(remittance.association_id, ZERO) - remittance.amount.amount
    return found
