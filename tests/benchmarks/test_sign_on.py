"""What recording a sign-on costs beside the bare rows it writes."""

import itertools
import uuid
from datetime import date

import pytest
from django.db import transaction
from django.utils import timezone

from clubdesk.ledger.models import Account, FinancialYear, Fund, JournalEntry, Posting
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.models import Gear, Paid, SignOn
from tests import factories
from tests.benchmarks.test_ratios import wait_for_no_disk

pytestmark = pytest.mark.django_db(transaction=True)
ON = date(2026, 9, 12)


def test_a_sign_on_beside_plain_orm_rows(ratio, book, by):
    """A member's hire paid in cash: the sign-on, its entry and two lines, each in its transaction, ten at once."""
    hire, _ = factories.hire()
    plan, day = factories.plan(), factories.range_day()
    people = []
    for _ in range(700):
        child = factories.PersonFactory()
        if len(people) < 350:
            membership.take_out_membership(person=child, plan=plan, starts_on=ON, on=ON, by=by)
        people.append(child)
    signing, coming = iter(people[:350]), iter(people[350:])
    till, income = Account.objects.get(role="till"), Account.objects.get(role="hire")
    fund, year = Fund.objects.get(pk="general"), FinancialYear.objects.get()
    numbers = itertools.count(1_000_000)

    def ours():
        ten = list(itertools.islice(signing, 10))
        known = selectors.schedule(day, [person.pk for person in ten])
        for person in ten:
            services.sign_on(range_day=day, person=person, gear=Gear.HIRE, paid=Paid.CASH, known=known, by=by)

    def plain():
        for person in itertools.islice(coming, 10):
            with transaction.atomic():
                number = next(numbers)
                SignOn.objects.create(
                    range_day=day, person=person, gear=Gear.HIRE, paid=Paid.CASH, price=hire, amount=hire.amount,
                    rounding=as_amount(0), recorded_by=by, key=uuid.uuid4(),
                )  # fmt: skip
                entry = JournalEntry.objects.create(
                    number=number, date=ON, year=year, narration="Hired gear", source_type="plain",
                    source_id=number, purpose="x", posted_by=by, posted_at=timezone.now(),
                    previous_digest="0" * 64, digest="0" * 64,
                )  # fmt: skip
                Posting.objects.create(entry=entry, account=till, fund=fund, amount=hire.amount)
                Posting.objects.create(entry=entry, account=income, fund=fund, amount=-hire.amount)

    wait_for_no_disk()
    ratio(ours, plain, rounds=30, limit=3)
