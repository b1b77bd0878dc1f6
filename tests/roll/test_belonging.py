"""Who of those that sign in belongs to which family: history, and what it keeps them from."""

import uuid

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk.errors import Refused
from clubdesk.ledger.invariants import check_all
from clubdesk.roll import services
from clubdesk.roll.models import Belonging
from clubdesk.roll.selectors import belongs_to
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def home(book):
    return factories.HouseholdFactory(name="Mirabar family")


def add(home, user, by):
    return services.add_to_family(household=home, user=user, by=by)


def take_off(home, user, by):
    return services.take_off_family(household=home, user=user, by=by)


def test_it_is_history_with_who_said_so(home, approver, coordinator):
    first = add(home, approver, coordinator)
    assert add(home, approver, coordinator) == first
    ended = take_off(home, approver, coordinator)
    assert take_off(home, approver, coordinator) == ended
    again = add(home, approver, coordinator)
    assert list(Belonging.objects.values_list("pk", "ended_by")) == [(first.pk, coordinator.pk), (again.pk, None)]


def test_nobody_takes_themselves_off(home, coordinator, by):
    belonging = add(home, coordinator, by)
    with pytest.raises(Refused, match="Somebody else must take you off"):
        take_off(home, coordinator, coordinator)
    with pytest.raises(IntegrityError, match="roll_nobody_takes_themselves_off"), transaction.atomic():
        Belonging.objects.filter(pk=belonging.pk).update(ended_by=coordinator, ended_at=belonging.added_at)
    with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
        belonging.delete()


def test_whoever_never_belonged_is_not_taken_off(home, approver, by):
    with pytest.raises(Refused, match="never belonged"):
        take_off(home, approver, by)


def test_whoever_left_keeps_from_what_was_asked_for_before(home, approver, by):
    before = add(home, approver, by).added_at
    left = take_off(home, approver, by).ended_at
    assert belongs_to(approver, home, before)
    assert belongs_to(approver, home, left)
    after = add(factories.HouseholdFactory(), approver, by).added_at
    assert not belongs_to(approver, home, after)


def test_the_familys_page_adds_takes_off_and_tells_of_it(client, home, approver, coordinator):
    client.force_login(coordinator)

    def send(slug):
        page = reverse(f"admin:roll_household_{slug}", args=[home.pk])
        return client.post(page, {"user": approver.pk, "key": str(uuid.uuid4())}, follow=True).content.decode()

    assert "decides about nothing of its money" in send("add-sign-in")
    told = send("take-off-sign-in")
    assert "Approver belongs to Mirabar family no more." in told
    assert "Sign-ins of this family" in told
    assert told.count(f", by {coordinator}") == 2


def test_an_erased_family_has_nobody(home, approver, by):
    add(home, approver, by)
    services.forget_household(home)
    assert not home.belongings.filter(ended_at=None).exists()
    assert [each for each in check_all() if each.faults] == []
