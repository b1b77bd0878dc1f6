"""Questions about memberships."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from djmoney.money import Money

from clubdesk.fees.models import ChargeCredit, FeeShare
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
    """Shares of started fees less what was credited and remitted, by association."""
    found: dict[int, Decimal] = {}

    def add(party_id: int, figure: Decimal) -> None:
        found[party_id] = found.get(party_id, ZERO) + figure

    shares: dict[int, list[FeeShare]] = {}
    for share in FeeShare.objects.select_related("account", "party"):
        shares.setdefault(share.price_id, []).append(share)
    for charge in _started(charges_with_open().filter(price__in=shares)):
        _add_shares(add, charge, shares[charge.price_id], 1)
    for charge_credit in ChargeCredit.objects.filter(from_advance=False, charge__price__in=shares).select_related(
        "charge__price__item__income_account"
    ):
        credited: Any = charge_credit.charge
        credited.recognised_amount = charge_credit.amount
        _add_shares(add, credited, shares[credited.price_id], -1)
    for remittance in Remittance.objects.all():
        add(remittance.association_id, -remittance.amount.amount)
    return found


def _started(charges: QuerySet[Any]) -> list[Any]:
    """Charges whose fee has become income, with `recognised_amount`: what of it did."""
    started = []
    early: dict[int, Decimal] = {}
    for row in ChargeCredit.objects.filter(from_advance=True):
        early[row.charge_id] = early.get(row.charge_id, ZERO) + row.amount.amount
    for charge in charges.select_related("price__item__income_account"):
        if charge.recognised_on or not charge.waits:
            charge.recognised_amount = charge.amount - as_amount(early.get(charge.pk, ZERO))
            started.append(charge)
    return started


def _add_shares(add: Callable[[int, Decimal], None], charge: Any, shares: list[FeeShare], sign: int) -> None:
    lines = income_lines(charge.recognised_amount, charge.amount, charge.price.item.income_account, shares)
    for line in lines:
        if line.party:
            add(line.party.pk, -sign * line.amount.amount)
