"""The part of the memberships in the demo: plans, who joins, who leaves, and what the associations get."""

from datetime import date, timedelta

from clubdesk import clock
from clubdesk.demoing import Demo
from clubdesk.fees.demo import ask_back, hand_in_voucher, pays_in_time
from clubdesk.fees.models import FeeItem
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.membership import services
from clubdesk.membership.models import FamilyCap, Membership, Plan, Refund
from clubdesk.membership.owed import affiliation_owed
from clubdesk.membership.selectors import is_member, membership_on
from clubdesk.money import as_amount, nil
from clubdesk.roll.demo import Cast, guardian_as_person
from clubdesk.roll.models import Person
from clubdesk.rooms import Scene
from clubdesk.verbs import shell_user


def begin(demo: Demo) -> None:
    Plan.objects.create(
        name="Junior",
        fee_item=FeeItem.objects.get(code="junior-membership"),
        oldest=17,
        sibling_percent=10,
        refund=Refund.MONTHS,
    )
    Plan.objects.create(
        name="Adult", fee_item=FeeItem.objects.get(code="adult-membership"), youngest=18, refund=Refund.MONTHS
    )
    FamilyCap.objects.create(valid_from=demo.year_before, amount=as_amount(640))


def plan(demo: Demo, start: date) -> None:
    for index, junior in enumerate(demo.part(Cast).juniors):
        demo.at(start + timedelta(days=2 + index % 24), join, junior)
    for months in (3, 6, 9, 11):
        demo.at(clock.months_later(start, months) + timedelta(days=19), remit_affiliation)
    demo.at(start + timedelta(days=55), guardian_joins)
    demo.at(start + timedelta(days=130), one_leaves)


def join(demo: Demo, day: date, who: Person) -> None:
    """A junior takes out a year's membership; most families pay within weeks, many with a voucher."""
    if is_member(who, day) or who not in demo.part(Cast).juniors:
        return
    taken = _take_out(demo, day, who, "Junior")
    if taken.charge and demo.chance.random() < 0.62:
        demo.at(day + timedelta(days=1), hand_in_voucher, taken.charge)
    if demo.chance.random() < 0.93:
        pays_in_time(demo, day, who.household)


def guardian_joins(demo: Demo, day: date) -> None:
    """A guardian becomes a member beside the children."""
    household = demo.part(Cast).helpful
    adult = guardian_as_person(household, born=day - timedelta(days=365 * 41))
    _take_out(demo, day, adult, "Adult")
    pays_in_time(demo, day, household)


def _take_out(demo: Demo, day: date, who: Person, plan: str) -> Membership:
    return services.take_out_membership(
        person=who, plan=Plan.objects.get(name=plan), starts_on=day, on=day, by=demo.users["coordinator"]
    )


def one_leaves(demo: Demo, day: date) -> None:
    """A member moves away; the club's part of the months left is credited and paid back."""
    leaver = demo.part(Cast).juniors.pop(9)
    standing = membership_on(leaver, day)
    if standing:
        services.end_membership(membership=standing, on=day, reason="moving away", by=demo.users["coordinator"])
        demo.at(day + timedelta(days=12), ask_back, leaver.household)


def remit_affiliation(demo: Demo, day: date) -> None:
    for association in Party.objects.filter(kind=PartyKind.ASSOCIATION).order_by("pk"):
        if affiliation_owed(association) > nil():
            services.remit_affiliation(association=association, through=day, on=day, by=demo.users["treasurer"])


def leave(demo: Demo, day: date) -> None:
    """A family has asked to leave, by its own page."""
    leaver = next((who for who in reversed(demo.part(Cast).juniors) if is_member(who, day)), None)
    if leaver:
        services.ask_to_leave(
            household=leaver.household, people=[leaver], reason="we move to the coast", on=day, by=shell_user()
        )


SCENES = (Scene(begin=begin, plan=plan, leave=leave),)
