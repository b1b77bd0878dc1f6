"""Which vouchers are best set against what a renewal costs: on the coordinator's page, and on the family's own."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.fees import advising
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import FeeKind, Method
from clubdesk.ledger.models import Role
from clubdesk.membership import admin
from clubdesk.membership import services as membership
from clubdesk.membership.services import VoucherOf
from clubdesk.money import as_amount
from tests import factories, families
from tests.membership.joining import NOW

pytestmark = pytest.mark.django_db
RENEWS = date(2027, 8, 20)


@pytest.fixture
def home(junior, join, by):
    """A family of two, paid up, whose memberships end on 11 September 2027; the second has a discount."""
    junior.sibling_percent = 10
    junior.save()
    home = factories.HouseholdFactory(name="Mirabar", guardian="Ida Mirabar", email="ida@example.org")
    for name in ("Ada", "Bela"):
        join(factories.PersonFactory(household=home, given_name=name))
    charging.record_receipt(household=home, amount=as_amount("444.80"), method=Method.TRANSFER, on=NOW, by=by)
    return home


def renew_page(client, home):
    return client.get(reverse("admin:roll_household_renew", args=[home.pk]))


def notes(desk, home):
    return renew_page(desk, home).context["notes"]


@pytest.fixture
def desk(client, coordinator):
    clock.set_today(RENEWS)
    client.force_login(coordinator)
    return client


def test_the_coordinator_reads_for_each_child_what_is_left_and_against_what(desk, home):
    factories.scheme([(2027, "220.00")])
    head = "has one voucher of State sport voucher left in 2027, worth $220.00 (to 31 December 2027): best set against"
    assert notes(desk, home) == [
        f"Ada {head} renewing the Junior membership ($228.00); nothing is forgone.",
        f"Bela {head} renewing the Junior membership ($216.80); $3.20 would be forgone, unless a larger fee comes.",
        advising.AS_THE_DEPARTMENT_SAYS,
    ]
    assert f'<p class="intro">{advising.AS_THE_DEPARTMENT_SAYS}</p>' in renew_page(desk, home).content.decode()


def test_a_fee_that_is_open_and_takes_it_whole_comes_before_the_renewal(desk, home, by):
    factories.scheme([(2027, "220.00")])
    bela = home.people.get(given_name="Bela")
    price = factories.price(FeeKind.COURSE, "230.00", Role.COURSES)
    charging.charge(
        household=home, person=bela, price=price, on=RENEWS, starts_on=RENEWS, by=by, description="Winter course"
    )
    _, of_bela, _ = notes(desk, home)
    assert of_bela.endswith("best set against Winter course ($230.00); nothing is forgone.")


def test_what_it_says_of_a_renewal_is_what_comes_of_it(desk, home, by):
    scheme, ada = factories.scheme([(2027, "300.00")]), home.people.get(given_name="Ada")
    of_ada, *_ = notes(desk, home)
    assert "($228.00); $72.00 would be forgone" in of_ada
    voucher = VoucherOf(ada, scheme, "SV1", ada.birth_date)
    membership.renew_household(household=home, on=RENEWS, people=[ada], vouchers=[voucher], by=by)
    assert fees.balance(home).amount == 0
    assert not any("Ada" in each for each in notes(desk, home))


def test_nothing_is_said_without_a_scheme_or_a_value_of_the_year(desk, home):
    assert notes(desk, home) == []
    factories.scheme([(2026, "100.00")])
    assert notes(desk, home) == []


def test_the_family_reads_it_on_its_own_page_while_it_can_renew(client, home):
    factories.scheme([(2027, "100.00")])
    sentence = "best set against renewing the Junior membership ($228.00); nothing is forgone."
    with clock.on(RENEWS):
        page = client.get(families.page_of(client, home)).content.decode()
    assert sentence in page
    assert advising.AS_THE_DEPARTMENT_SAYS in page
    with clock.on(date(2027, 8, 11)):
        assert "Sport vouchers" not in client.get(families.page_of(client, home)).content.decode()


def test_both_pages_ask_the_book_as_often_for_two_children_as_for_six(client, home, join):
    factories.scheme([(2027, "100.00")])
    of_family, said, page = [], [], admin.RenewPage()
    for more in (0, 4):
        clock.set_today(NOW)
        for _ in range(more):
            join(factories.PersonFactory(household=home))
        clock.set_today(RENEWS)
        url = families.page_of(client, home)
        client.get(url)
        with CaptureQueriesContext(connection) as queries:
            said.append(len(client.get(url).context["vouchers"]))
        of_family.append(len(queries))
        with CaptureQueriesContext(connection) as queries:
            said.append(len(page.notes(home)))
        of_family.append(len(queries))
    assert said == [2, 3, 6, 7]
    assert of_family[:2] == of_family[2:]
