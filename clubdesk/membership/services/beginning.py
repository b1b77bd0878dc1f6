"""The plans that a club begins with, several at once, each with its fee."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees.models import FeeKind
from clubdesk.fees.services import NewFee, begin_fees
from clubdesk.membership.models import Plan
from clubdesk.verbs import verb


@dataclass(frozen=True)
class NewPlan:
    """A plan by its name, what it costs, for how many months, and for which ages; None where there is no bound."""

    name: str
    amount: Money
    months: int = 12
    youngest: int | None = None
    oldest: int | None = None


@verb(permission="membership.add_plan", title="Begin from an example")
def begin_plans(*, plans: Sequence[NewPlan], on: date, by: User) -> list[Plan]:
    """Each plan with a fee of its own and its price from that day; one of that name that stands already is left alone.

    Raises Refused without any, for a name that stands twice, and for what a fee or a plan cannot be.
    """
    if not plans:
        raise Refused("Name at least one plan with its price.")
    names = [plan.name.casefold() for plan in plans]
    if len(set(names)) < len(names):
        raise Refused("Give each plan a name of its own.")
    for plan in plans:
        if plan.youngest is not None and plan.oldest is not None and plan.oldest < plan.youngest:
            raise Refused(f"{plan.name}: the oldest age is below the youngest.")
    return [_begin(plan, on, by) for plan in plans]


def _begin(plan: NewPlan, on: date, by: User) -> Plan:
    if stands := Plan.objects.filter(name__iexact=plan.name).first():
        return stands
    [fee] = begin_fees(fees=[NewFee(f"{plan.name} membership", FeeKind.MEMBERSHIP, plan.amount)], on=on, by=by)
    return Plan.objects.create(
        name=plan.name, fee_item=fee, months=plan.months, youngest=plan.youngest, oldest=plan.oldest
    )
