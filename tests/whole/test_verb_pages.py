"""Every verb's page is opened on a document that it applies to."""

from datetime import date, timedelta

import pytest
from allauth.mfa.models import Authenticator
from django.contrib.auth.models import User
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort, Course
from clubdesk.desk.house.pages import screens
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeePrice, Holds, VoucherScheme
from clubdesk.ledger.models import Account, TaxBasis
from clubdesk.ledger.services import register_for_gst
from clubdesk.membership import services as membership
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll import services as roll
from clubdesk.roll.models import Guardian
from clubdesk.safety import services as safety
from clubdesk.safety.models import DayRules
from clubdesk.screens.verbs import VerbPage
from tests import factories
from tests.whole.addresses import DAYS

pytestmark = [pytest.mark.either, pytest.mark.django_db, pytest.mark.world("season_50")]


def pages_with_documents():
    """Each verb page with the first row that it applies to today, or else after the year's end; or None."""
    for screen in screens():
        rows = list(screen.model._default_manager.order_by("pk")[:400])
        for page in screen.all_pages:
            if isinstance(page, VerbPage):
                yield f"{screen.named_as} {page.slug}", page, *first_of(page, rows)


def first_of(page, rows):
    for day in DAYS:
        with clock.on(day):
            if row := next((row for row in rows if page.applies(row)), None):
                return row, day
    return None, DAYS[0]


@pytest.fixture
def a_group_that_waits(by):
    """Two who want to come together to a cohort that has one place left."""
    course, household = Course.objects.get(), factories.HouseholdFactory()
    last = {"first_session": date(2026, 10, 11), "last_session": date(2026, 11, 1)}
    cohort = Cohort.objects.create(course=course, name="Nearly full", capacity=1, **last)
    people = [factories.PersonFactory(household=household) for _ in range(2)]
    return courses.book_party(course=course, people=people, cohorts=[cohort], on=clock.today(), by=by)


@pytest.fixture
def two_that_are_one(by):
    one, other = factories.HouseholdFactory(), factories.HouseholdFactory()
    return roll.merge_families(household=one, other=other, on=clock.today(), by=by)


@pytest.fixture
def somebody_of_a_family(by):
    """A sign-in with an address and a second step, of a family which has a link; one guardian wants no news."""
    user = User.objects.create_user("mira", "mira@example.org", is_staff=True)
    Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={})
    home = factories.HouseholdFactory(guardian="Ida", email="ida@example.org")
    roll.end_news(guardian=home.guardians.get(), by=by)
    Guardian.objects.create(household=home, name="Otto")
    return roll.add_to_family(household=home, user=user, by=by)


@pytest.fixture
def what_others_answer(by):
    """A child whose family asks to leave, and another number of the club's account that one person asked for."""
    child = factories.PersonFactory()
    membership.ask_to_leave(household=child.household, people=[child], reason="moving", on=clock.today(), by=by)
    account = Account.objects.create(code="1015", name="Savings", kind="asset", is_money=True)
    savings = BankAccount.objects.create(name="Savings", account=account)
    bank.ask_for_account(
        bank_account=savings, holder="Reedbank Archers", bsb="012-003", account_number="4500123",
        reason="the bank’s own letter", on=clock.today(), by=by,
    )  # fmt: skip


@pytest.fixture
def a_count_at_the_range(by, keeper):
    """What two helpers have counted, and the second of them has not confirmed."""
    day = factories.range_day(clock.today() - timedelta(days=1))
    rangeday.hand_in_count(range_day=day, pieces={}, second_counter=keeper, on=clock.today(), by=by)


@pytest.fixture
def a_child_to_watch(a_group_that_waits, by):
    """One below the minimum age, who waits for a draw check."""
    child = factories.PersonFactory(birth_date=date(2019, 5, 5))
    cohort = Cohort.objects.get(name="Nearly full")
    return courses.book_party(course=cohort.course, people=[child], cohorts=[cohort], on=clock.today(), by=by)


@pytest.fixture
def a_template(book):
    """The columns by which a claim that was sent can be made into a file."""
    for scheme in VoucherScheme.objects.filter(lodgements__vouchers__state="lodged").distinct():
        scheme.claim_columns.create(place=1, heading="Code", holds=Holds.KEY)


@pytest.fixture
def a_safe_day(by):
    """A day with too few on duty, a check, a child who came alone, an incident of which no guardian was told."""
    DayRules.objects.create(since=clock.today(), people=2, arrivals=True)
    day = RangeDay.objects.get(date=clock.today())
    person, child = factories.PersonFactory(birth_date=date(1980, 1, 1)), factories.PersonFactory()
    safety.write_check(
        person=person, kind="children", number="WW 1", expires_on=date(2029, 1, 1), on=clock.today(), by=by
    )
    safety.put_on_duty(range_day=day, person=person, duty="coach", by=by)
    safety.note_arrival(range_day=day, person=child, at=clock.now(), by=by)
    safety.record_incident(kind="incident", on=clock.today(), place="line", what="A fall", child=child, by=by)


@pytest.fixture
def a_paid_voucher(book, by):
    """One of a scheme of its own, so that what others wait for stays."""
    child, day = factories.PersonFactory(), {"on": clock.today(), "by": by}
    price, scheme = FeePrice.objects.filter(item__kind="course").first(), factories.scheme(name="Winter voucher")
    charge = fees.charge(household=child.household, person=child, price=price, starts_on=clock.today(), **day)
    fees.accept_voucher(scheme=scheme, charge=charge, code="W1", **day)
    fees.record_lodgement_paid(lodgement=fees.lodge_vouchers(scheme=scheme, **day), **day)


@pytest.fixture
def a_voucher_given_back(book, by):
    """One that is owed back to its department and stands in no payment run."""
    child, day = factories.PersonFactory(), {"on": clock.today(), "by": by}
    price, scheme = FeePrice.objects.filter(item__kind="course").first(), factories.scheme(name="Spring voucher")
    charge = fees.charge(household=child.household, person=child, price=price, starts_on=clock.today(), **day)
    voucher = fees.accept_voucher(scheme=scheme, charge=charge, code="SP9", **day)
    fees.record_lodgement_paid(lodgement=fees.lodge_vouchers(scheme=scheme, **day), **day)
    fees.take_back(charge=charge, reason="left", **day)
    fees.give_back(voucher=voucher, invoice="INV 9", pay_to="012-003 4500123", reason="left", **day)


@pytest.mark.usefixtures(
    "a_child_to_watch",
    "two_that_are_one",
    "somebody_of_a_family",
    "what_others_answer",
    "a_template",
    "a_count_at_the_range",
    "a_safe_day",
    "a_paid_voucher",
    "a_voucher_given_back",
)
def test_each_opens_on_a_document_that_it_applies_to(client, keeper):
    client.force_login(keeper)
    found = list(pages_with_documents())
    assert [name for name, _, row, _ in found if row is None] == []
    assert len(found) > 70
    for name, page, row, day in found:
        with clock.on(day):
            assert client.get(page.url(row)).status_code == 200, name


def test_pages_that_make_a_document_open_too(client, keeper, by):
    register_for_gst(since=date(2026, 7, 1), basis=TaxBasis.CASH, by=by)  # else no page of GST
    client.force_login(keeper)
    for screen in screens():
        name = f"admin:{screen.opts.app_label}_{screen.opts.model_name}"
        if screen.add_page:
            assert client.get(reverse(f"{name}_add")).status_code == 200, name
        for page in screen.all_list_pages:
            assert client.get(reverse(f"{name}_{page.slug}")).status_code == 200, page.slug
    assert any(screen.add_page for screen in screens())
