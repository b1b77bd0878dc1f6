"""A member who may ask, a fund that holds something, and a request with its receipt."""

import uuid
from datetime import date
from decimal import Decimal

import pytest

from clubdesk.entryfund import services
from clubdesk.entryfund.models import PaidInto
from clubdesk.evidence import Evidence
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from tests import factories

NOW = date(2026, 9, 12)


@pytest.fixture
def plan(book):
    return factories.plan()


@pytest.fixture
def junior(plan, by):
    def made(**more):
        child = factories.PersonFactory(**more)
        start = date(2026, 7, 6)
        membership.take_out_membership(person=child, plan=plan, starts_on=start, on=start, by=by)
        return child

    return made


@pytest.fixture
def cash_in(by):
    def cashed(amount):
        services.cash_in(
            containers=int(Decimal(amount) * 10), amount=as_amount(amount), paid_into=PaidInto.BANK, on=NOW, by=by
        )

    return cashed


@pytest.fixture
def claim(by):
    def claimed(child, event=None, amount="60.00", **more):
        made = Evidence(f"receipt {uuid.uuid4()}".encode(), "application/pdf")
        known = {"evidence": made, "on": NOW, "by": by, "amount": as_amount(amount)}
        return services.record_claim(person=child, event=event or factories.event(), **known | more)

    return claimed
