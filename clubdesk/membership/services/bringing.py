"""Bringing a club in: its people, households, memberships and balances from a file."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import OpeningBalances
from clubdesk.fees.services import OpenItem
from clubdesk.ledger import services as ledger
from clubdesk.ledger.files import Faults
from clubdesk.ledger.models import Account
from clubdesk.membership.models import Membership, Plan
from clubdesk.membership.rollfile import RowPlan, first_day, plan_roll, read_roll
from clubdesk.money import as_amount, nil, total
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.services import add_household, add_person, one_new_family_at_a_time
from clubdesk.verbs import verb


@dataclass
class BroughtIn:
    """What a file came to."""

    households: int = 0
    people: int = 0
    memberships: int = 0
    balances: OpeningBalances | None = None


@verb(permission="roll.add_household", title="Import a roll")
def import_roll(
    *,
    content: bytes,
    by: User,
    decided: Mapping[int, str] | None = None,
    key: uuid.UUID | None = None,
) -> BroughtIn:
    """Bring in people, households, memberships, and the balances of the day before the first year; all or nothing.

    Who is on the roll already under the same name and date of birth in that household is left as is, so that the same
    file can be brought in again; but a balance is a balance, and a file with balances is brought in once. Raises
    Refused with a sentence a row, also for a likely duplicate that nobody has decided about.
    """
    one_new_family_at_a_time()
    if found := ledger.written(OpeningBalances, key):
        return BroughtIn(balances=found)
    plans = plan_roll(read_roll(content), decided)
    faults = Faults()
    for row in plans:
        for sentence in row.faults:
            faults.add(row.number, sentence)
        if row.undecided:
            faults.add(row.number, f"{row.who} is {row.question}. Write new or that number into same_as.")
    faults.refuse()
    done, homes = BroughtIn(), dict[int, Household]()
    open_items: dict[tuple[Household, Account | None], Decimal] = {}
    for row in plans:
        household = _household(row, homes, done)
        person = row.person or _person(row, household, done)
        _membership(row, person, by, done)
        what = household, row.balance_for
        open_items[what] = open_items.get(what, Decimal(0)) + row.balance
    items = [OpenItem(home, as_amount(amount), what_for) for (home, what_for), amount in open_items.items() if amount]
    if items:
        done.balances = charging.bring_in_balances(items=items, by=by, key=key or uuid.uuid4())
    return done


def _household(row: RowPlan, homes: dict[int, Household], done: BroughtIn) -> Household:
    home = row.known_household or homes.get(row.with_row)
    if home is None:
        done.households += 1
        home = add_household(name=row.household, guardian=row.guardian, email=row.email, phone=row.phone)
    elif row.guardian and row.guardian.casefold() not in {each.name.casefold() for each in home.guardians.all()}:
        Guardian.objects.create(household=home, name=row.guardian, email=row.email, phone=row.phone)
    homes.setdefault(row.with_row, home)
    homes.setdefault(row.number, home)
    return home


def _person(row: RowPlan, household: Household, done: BroughtIn) -> Person:
    assert row.birth_date is not None
    done.people += 1
    return add_person(
        household=household, given_name=row.given_name, family_name=row.family_name, birth_date=row.birth_date
    )


def _membership(row: RowPlan, person: Person, by: User, done: BroughtIn) -> None:
    """A membership that was paid before this book began: nothing is charged for it here."""
    if not (row.plan and row.expiry):
        return
    done.memberships += 1
    starts_on, today = first_day(row.plan, row.expiry), clock.today()
    fee, passed_on = _worth(row.plan, starts_on, today)
    Membership.objects.create(
        person=person,
        plan=row.plan,
        starts_on=starts_on,
        fee=fee,
        passed_on=passed_on,
        ends_on=row.expiry,
        months=row.plan.months,
        working=f"imported on {day_text(today)}",
        recorded_by=by,
    )


def _worth(plan: Plan, *days: date) -> tuple[Money, Money]:
    """What such a membership costs, and what of it the associations get, by the first price that the schedule has."""
    for day in days:
        try:
            price = fees.price_on(plan.fee_item, day)
        except Refused:
            continue
        passed = total(share.amount for share in fees.shares_of_price(price) if share.party_id)
        return price.amount, passed
    return nil(), nil()
