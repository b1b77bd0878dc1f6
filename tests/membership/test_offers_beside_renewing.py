"""A place that is offered counts among the fees that vouchers are best set against, at renewal and on the own page.

What is said is held to every way in which the vouchers could really be set against the fees, done and undone again.
"""

import re
from datetime import date
from itertools import product

import pytest
from django.db import transaction

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.errors import Refused
from clubdesk.fees import advising
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, FeeKind, Voucher, VoucherScheme
from clubdesk.ledger.models import Role
from clubdesk.membership import admin
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from tests import factories, families

pytestmark = pytest.mark.django_db
RENEWS, FIRST = date(2027, 8, 20), date(2027, 9, 5)
NO_WAY = "undone again"


@pytest.fixture
def home(junior, join):
    """Ada's membership ends on 11 September 2027, and costs 228.00 anew."""
    home = factories.HouseholdFactory(name="Mirabar", guardian="Ida Mirabar", email="ida@example.org")
    child = factories.PersonFactory(household=home, given_name="Ada")
    charge = join(child).charge
    charging.record_receipt(
        household=home, amount=charge.amount, method="transfer", on=charge.charged_on, by=charge.recorded_by
    )
    return home


@pytest.fixture
def ada(home):
    return home.people.get()


@pytest.fixture
def offer(ada, by):
    """Ada is offered the one place in a course at `fee`."""

    def offered(fee="126.00", pay_days=None):
        clock.set_today(RENEWS)
        cohort = factories.cohort(capacity=1, first=FIRST, fee=fee)
        cohort.course.pay_days = pay_days
        cohort.course.save()
        asked = {"course": cohort.course, "cohorts": [cohort], "on": RENEWS, "by": by}
        other = courses.book_party(people=[factories.PersonFactory()], **asked)
        own = courses.book_party(people=[ada], **asked)
        courses.withdraw(booking=other, on=RENEWS, reason="camp", by=by)
        own.refresh_from_db()
        assert own.state == "offered"
        return own

    return offered


def notes(home):
    return [each for each in admin.RenewPage().notes(home) if each != advising.AS_THE_DEPARTMENT_SAYS]


def test_it_goes_to_the_offered_place_where_that_takes_more_of_it(client, home, ada, offer):
    factories.scheme([(2027, "240.00")])
    booking = offer("250.00")
    sentence = (
        "Ada has one voucher of State sport voucher left in 2027, worth $240.00 (to 31 December 2027): best set "
        f"against the place in {booking.places.get().cohort}, once accepted ($250.00); nothing is forgone."
    )
    assert notes(home) == [sentence]
    assert sentence in " ".join(client.get(families.page_of(client, home)).content.decode().split())


def test_what_was_offered_is_what_is_said_whatever_the_price_is_by_now(home, offer, by):
    factories.scheme([(2027, "240.00")])
    booking = offer("250.00")
    item = booking.course.fee_item
    item.prices.create(valid_from=date(2027, 8, 21), amount=as_amount(300))
    clock.set_today(date(2027, 8, 22))
    assert "once accepted ($250.00)" in notes(home)[0]


def test_accepted_it_is_said_of_its_fee(home, offer, by):
    factories.scheme([(2027, "240.00")])
    booking = courses.accept_offer(booking=offer("250.00"), on=RENEWS, by=by)
    assert f"best set against {booking.places.get().charge} ($250.00)" in notes(home)[0]
    assert "once accepted" not in notes(home)[0]


def test_declined_it_is_said_of_the_renewal(home, offer, by):
    factories.scheme([(2027, "240.00")])
    courses.withdraw(reason="no time", booking=offer("250.00"), on=RENEWS, by=by)
    assert "best set against renewing the Junior membership ($228.00); $12.00 would be forgone" in notes(home)[0]


@pytest.mark.parametrize(("pay_days", "first"), [(5, "the place in"), (60, "renewing the")])
def test_of_two_that_take_it_whole_the_one_due_first(home, offer, pay_days, first):
    factories.scheme([(2027, "100.00")])
    offer("126.00", pay_days)
    assert f"best set against {first}" in notes(home)[0]


def test_a_kind_of_fee_that_the_scheme_does_not_pay_is_left_out(home, offer):
    scheme = factories.scheme([(2027, "240.00")])
    VoucherScheme.objects.filter(pk=scheme.pk).update(pays_courses=False)
    offer("250.00")
    assert "best set against renewing the Junior membership" in notes(home)[0]


@pytest.mark.parametrize(("opened", "offered", "rules"), [
    ("30.00", "126.00", {}), ("90.00", "70.00", {"one_a_fee": True}), ("160.00", "250.00", {"pays_memberships": False}),
    ("90.00", "126.00", {"one_a_fee": True, "pays_other": False}),
])  # fmt: skip
def test_no_way_to_set_them_pays_more_nor_spends_less(home, ada, offer, by, opened, offered, rules):
    """An open fee, a renewal and an offer; two vouchers of one scheme and one of another, in each of their ways."""
    one, other = factories.scheme([(2027, "110.00")], "One"), factories.scheme([(2027, "200.00")], "Other")
    VoucherScheme.objects.filter(pk=one.pk).update(per_year=2, **rules)
    one.refresh_from_db()
    booking = offer(offered)
    shirt = factories.price(FeeKind.OTHER, opened, Role.COURSES, code="shirt")
    charging.charge(
        household=home, person=ada, price=shirt, on=RENEWS, starts_on=RENEWS, by=by, description="Club shirt"
    )
    sentences = notes(home)
    said_forgone = sum(float(each) for each in re.findall(r"\$([\d.]+) would be forgone", " ".join(sentences)))
    kept = sum({"one": 1, "2": 2}[each] for each in re.findall(r"Keep (one|2) for", " ".join(sentences)))
    kept += sum(2 if "has 2 vouchers" in each else 1 for each in sentences if re.search("; keep (it|them) for", each))
    ways = every_way(home, ada, booking, [one, one, other], by)
    most = max(paid for paid, _, _ in ways)
    least = min(worth for paid, worth, _ in ways if paid == most)
    assert {used for paid, worth, used in ways if (paid, worth) == (most, least)} >= {3 - kept}
    assert said_forgone == least - most


def every_way(home, ada, booking, schemes, by):
    """Once the offer is accepted and the membership renewed: what each way pays, what it spends, and how many."""
    courses.accept_offer(booking=booking, on=RENEWS, by=by)
    membership.renew_household(household=home, on=RENEWS, by=by)
    charges = list(Charge.objects.filter(person=ada, charged_on=RENEWS).order_by("pk"))
    assert len(charges) == 3
    found = []
    for way in product([None, *charges], repeat=len(schemes)):
        before = set(Voucher.objects.values_list("pk", flat=True))
        try:
            with transaction.atomic():
                for number, (scheme, charge) in enumerate(zip(schemes, way, strict=True)):
                    if charge:
                        charging.accept_voucher(scheme=scheme, charge=charge, code=f"V{number}", on=RENEWS, by=by)
                taken = Voucher.objects.exclude(pk__in=before).select_related("scheme")
                worth = sum({"One": 110, "Other": 200}[each.scheme.name] for each in taken)
                found.append((sum(float(each.amount.amount) for each in taken), worth, len(taken)))
                raise Refused(NO_WAY)
        except Refused:
            pass
    return found
