"""Renewals: who is told, and a whole household renewed at once."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.db.models import Q

from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.fees.models import VoucherScheme
from clubdesk.mail.models import Message
from clubdesk.mail.services import untold
from clubdesk.membership import letters, selectors
from clubdesk.membership.models import Membership
from clubdesk.membership.selectors import HouseholdRenewal, Renewal
from clubdesk.membership.services.joining import lock_homes, taken_out
from clubdesk.roll.models import Household, Person
from clubdesk.verbs import NOBODY, verb


@dataclass(frozen=True)
class VoucherOf:
    """A child's sport voucher as it is entered with the renewal."""

    person: Person
    scheme: VoucherScheme
    code: str
    birth_date: date
    issued_on: date | None = None


@verb(permission="membership.add_membership", title="Renew the family")
def renew_household(
    *,
    household: Household,
    on: date,
    by: User,
    people: Collection[Person] | None = None,
    vouchers: Sequence[VoucherOf] = (),
) -> list[Membership]:
    """Renew the memberships that the household pays for and that end soon or can still be renewed, and tell it: those
    of the `people` chosen, or of all. Who renews alone has no sibling discount.

    Each begins on the day after the one before ends. Who is too old or too young for the plan is left out. The
    `vouchers` are set against the fees. Doing it again renews nothing more. Raises Refused where nothing is to be
    renewed at all, for a voucher of somebody whom this charges nothing, and as accepting a voucher does.
    """
    theirs = Membership.objects.filter(payer=household).values("person__household")
    lock_homes(Q(pk=household.pk) | Q(pk__in=theirs))
    household = charging.queue(household)
    found = selectors.renewals(on, household, people)
    lines = [line for each in found for line in each.lines]
    quotes = [line.quote for line in lines if line.quote]
    renewed = [taken_out(each.person, each.plan, each.starts_on, household, on, by) for each in quotes]
    for voucher in vouchers if renewed else ():
        _accept(voucher, renewed, on, by)
    if renewed:
        letters.tell_joined(renewed, renewed=True)
    if not renewed and lines:
        raise Refused([line.problem for line in lines])
    if not renewed:
        renewed = selectors.renewed_on(household, on)
    if not renewed:
        raise Refused(f"Nothing of {household} is to be renewed now.")
    return renewed


def _accept(voucher: VoucherOf, renewed: Sequence[Membership], on: date, by: User) -> None:
    charge = next((row.charge for row in renewed if row.person == voucher.person), None)
    if charge is None:
        raise Refused(f"{voucher.person} is charged nothing here, so no voucher is needed; remove it here.")
    charging.accept_voucher(
        scheme=voucher.scheme, charge=charge, code=voucher.code, birth_date=voucher.birth_date,
        issued_on=voucher.issued_on, on=on, by=by,
    )  # fmt: skip


@verb(permission=NOBODY, title="Remind families to renew")
def remind_renewals(*, on: date) -> list[Message]:
    """Write to each household once before memberships of it end and once after, while they can still be renewed.

    Those that end on different days are told of on their own.
    """
    waiting = selectors.to_renew(on)
    due = untold({letters.about(*each) for own in waiting for each in own})
    if not due:
        return []
    renewing = selectors.with_quotes([own for own in waiting if any(letters.about(*each) in due for each in own)])
    parts = [part for each in renewing for part in _by_last_day(each)]
    return [letters.tell_renewal(each, on) for each in parts if letters.about(*each.first) in due]


def _by_last_day(renewal: HouseholdRenewal) -> list[HouseholdRenewal]:
    """The same, apart for each last day."""
    days: dict[date, list[Renewal]] = defaultdict(list)
    for line in renewal.lines:
        days[line.membership.ends_on].append(line)
    return [HouseholdRenewal(renewal.household, lines) for lines in days.values()]
