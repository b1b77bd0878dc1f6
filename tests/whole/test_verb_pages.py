"""Every verb's page is opened on a document that it applies to."""

from datetime import date

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
from clubdesk.ledger.models import Account, TaxBasis
from clubdesk.ledger.services import register_for_gst
from clubdesk.membership import services as membership
from clubdesk.roll import services as roll
from clubdesk.screens.verbs import VerbPage
from tests import factories
from tests.whole.addresses import DAYS

pytestmark = [pytest.mark.django_db, pytest.mark.world("season_50")]


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
    """A sign-in with an address and a second step, that belongs to a family which has a link."""
    user = User.objects.create_user("mira", "mira@example.org", is_staff=True)
    Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={})
    home = factories.HouseholdFactory(guardian="Ida", email="ida@example.org")
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


@pytest.mark.usefixtures("a_group_that_waits", "two_that_are_one", "somebody_of_a_family", "what_others_answer")
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
