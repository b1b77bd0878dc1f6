"""A child of two homes: another family than its own pays for the membership, and for what comes of it."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from clubdesk import clock
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import accounts
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Method
from clubdesk.mail.models import Message
from clubdesk.membership import selectors
from clubdesk.membership import services as membership
from clubdesk.membership.models import FamilyCap, Membership, Refund
from clubdesk.membership.services import VoucherOf
from clubdesk.money import as_amount
from tests import factories
from tests.forms import form_of
from tests.membership.joining import NOW, sound

pytestmark = pytest.mark.django_db
RENEWS = date(2027, 8, 20)


@pytest.fixture
def mother(book):
    return factories.HouseholdFactory(name="Mirabar family", guardian="Ida Mirabar", email="ida@example.org")


@pytest.fixture
def father(book):
    return factories.HouseholdFactory(name="Brolga family", guardian="Rolf Brolga", email="rolf@example.org")


@pytest.fixture
def child(mother):
    return factories.PersonFactory(household=mother, given_name="Ada", family_name="Mirabar")


@pytest.fixture
def taken(child, father, junior, by):
    """The child's membership, for which the father's family pays."""
    return membership.take_out_membership(person=child, plan=junior, starts_on=NOW, payer=father, on=NOW, by=by)


def letters(home):
    return list(Message.objects.filter(household=home).order_by("pk").values_list("subject", flat=True))


def owed(home):
    return fees.balance(home).amount


class TestWhoPays:
    def test_the_other_family_is_charged_and_written_to(self, taken, mother, father):
        assert (owed(mother), owed(father)) == (Decimal(0), Decimal(228))
        assert (letters(mother), letters(father)) == ([], ["Your membership"])
        assert [line.text for line in accounts.statement(father, NOW).lines] == ["Junior membership, Ada Mirabar"]
        assert accounts.statement(mother, NOW).lines == []
        assert selectors.is_member(taken.person, NOW)
        assert sound()

    def test_its_own_family_named_as_payer_is_no_other(self, child, mother, junior, by):
        own = membership.take_out_membership(person=child, plan=junior, starts_on=NOW, payer=mother, on=NOW, by=by)
        assert (own.payer, owed(mother)) == (None, Decimal(228))

    def test_discount_and_cap_are_of_the_family_that_pays(self, child, mother, father, junior, join, by):
        junior.sibling_percent = 10
        junior.save()
        join(factories.PersonFactory(household=mother))
        FamilyCap.objects.create(valid_from=factories.LONG_AGO, amount=as_amount(400))
        first = membership.take_out_membership(person=child, plan=junior, starts_on=NOW, payer=father, on=NOW, by=by)
        assert first.working == "$228.00"
        second = join(factories.PersonFactory(household=father))
        assert second.working == "$228.00, less sibling $11.20, less family cap $44.80 = $172.00"
        assert owed(father) == Decimal(400)
        assert sound()

    def test_a_voucher_of_the_child_pays_it(self, child, father, junior, by):
        membership.take_out_membership(
            person=child, plan=junior, starts_on=NOW, payer=father, on=NOW, by=by,
            scheme=factories.scheme(), code="SV1", birth_date=child.birth_date,
        )  # fmt: skip
        assert owed(father) == Decimal(128)
        assert sound()


class TestWhatComesOfIt:
    def test_who_leaves_early_gives_back_to_the_family_that_paid(self, taken, mother, father, junior, by):
        junior.refund = Refund.MONTHS
        junior.save()
        charging.record_receipt(household=father, amount=as_amount(228), method=Method.CARD, on=NOW, by=by)
        last = date(2027, 1, 11)
        with clock.on(last):
            membership.end_membership(membership=taken, on=last, reason="moved away", by=by)
        assert (owed(mother), owed(father)) == (Decimal(0), Decimal("-74.67"))
        assert letters(father)[-1] == "Your membership ends"
        assert letters(mother) == []
        assert sound()

    def test_another_plan_is_charged_to_it_as_well(self, taken, mother, father, adult, by):
        changed = membership.change_plan(membership=taken, plan=adult, on=date(2027, 3, 12), reason="grown", by=by)
        assert (changed.payer, changed.charge.household, owed(mother)) == (father, father, Decimal(0))
        with clock.on(date(2027, 3, 12)):
            membership.cancel_membership(membership=changed, on=date(2027, 3, 12), reason="a mistake", by=by)
        standing = selectors.membership_on(taken.person, date(2027, 4, 1))
        assert (standing.plan, standing.payer) == (taken.plan, father)
        assert sound()

    def test_it_is_asked_to_renew_and_renews(self, taken, mother, father, by):
        with clock.on(date(2027, 8, 12)):
            nightly(on=clock.today(), by=by)
        assert (letters(father)[-1], letters(mother)) == ("Your memberships end soon", [])
        with pytest.raises(Refused, match="Nothing of Mirabar family is to be renewed now"):
            membership.renew_household(household=mother, on=RENEWS, by=by)
        voucher = VoucherOf(taken.person, factories.scheme(), "SV1", taken.person.birth_date)
        (renewed,) = membership.renew_household(household=father, vouchers=[voucher], on=RENEWS, by=by)
        assert (renewed.payer, renewed.charge.household) == (father, father)
        assert (owed(mother), owed(father)) == (Decimal(0), Decimal(228 + 228 - 150))
        assert membership.renew_household(household=father, on=RENEWS, by=by) == [renewed]
        assert letters(father)[-1] == "Your memberships"
        assert sound()

    def test_taken_out_anew_without_it_its_own_family_pays_again(self, taken, child, mother, junior, by):
        ends = taken.ends_on + timedelta(days=1)
        again = membership.take_out_membership(person=child, plan=junior, starts_on=ends, on=RENEWS, by=by)
        assert (again.payer, owed(mother)) == (None, Decimal(228))
        assert selectors.renewals(date(2028, 8, 20))[0].household == mother


def test_the_coordinator_says_on_the_page_which_family_pays(client, coordinator, child, father, junior):
    client.force_login(coordinator)
    url = reverse("admin:membership_membership_add")
    typed = form_of(client.get(url)) | {"person": child.pk, "plan": junior.pk, "starts_on": NOW, "payer": father.pk}
    page = client.post(url, typed, follow=True).content.decode()
    assert "charged to Brolga family" in page
    assert Membership.objects.get().payer == father
    shown = client.get(reverse("admin:membership_membership_change", args=[Membership.objects.get().pk]))
    assert "Another family pays" in shown.content.decode()


def test_the_page_to_renew_offers_the_child_to_the_family_that_pays(client, coordinator, taken, father, mother):
    client.force_login(coordinator)
    with clock.on(RENEWS):
        page = client.get(reverse("admin:roll_household_renew", args=[father.pk])).content.decode()
        other = client.get(reverse("admin:roll_household_change", args=[mother.pk])).content.decode()
    assert "Ada Mirabar: $228.00" in page
    assert reverse("admin:roll_household_renew", args=[mother.pk]) not in other
