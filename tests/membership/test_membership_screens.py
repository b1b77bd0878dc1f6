"""The screens of memberships and of what the associations get."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Method
from clubdesk.membership.models import Membership
from clubdesk.money import as_amount
from tests import factories
from tests.membership.joining import NOW, sound

pytestmark = pytest.mark.django_db


class TestTheScreens:
    KEY = "7d444840-9dc0-11d1-b245-5ffdce74fad2"

    def test_a_membership_with_a_voucher_shows_its_working(self, client, coordinator, junior):
        child, scheme = factories.PersonFactory(), factories.scheme()
        client.force_login(coordinator)
        form = {"key": self.KEY, "person": child.pk, "plan": junior.pk, "starts_on": "2026-09-12", "on": "2026-09-12"}
        url = reverse("admin:membership_membership_add")
        assert client.post(url, form | {"scheme": scheme.pk}).status_code == 422
        born = {"scheme": scheme.pk, "code": "SV1", "birth_date": "2014-03-08"}
        assert "not the date of birth" in client.post(url, form | born).content.decode()
        answer = client.post(url, form | born | {"birth_date": "2014-03-09"}, follow=True)
        again = client.post(url, form | born | {"birth_date": "2014-03-09"})
        assert again.status_code == 302
        assert "$228.00, less voucher $100.00 = $128.00" in answer.content.decode()

    def test_what_a_membership_would_cost_each_of_a_household(self, client, coordinator, junior, join, by):
        junior.sibling_percent, junior.oldest = 10, 17
        junior.save()
        home, scheme = factories.HouseholdFactory(), factories.scheme()
        for born in (date(2012, 1, 1), date(2014, 1, 1), date(1984, 1, 1)):
            factories.PersonFactory(household=home, birth_date=born)
        client.force_login(coordinator)
        query = {"plan": junior.pk, "day": "2026-09-12", "scheme": scheme.pk}
        page = client.get(reverse("admin:membership_price", args=[home.pk]), query).content.decode()
        assert "$228.00, less voucher $100.00 = $128.00" in page
        assert "$228.00, less sibling $11.20, less voucher $100.00 = $116.80" in page
        assert "Choose another" in page
        assert "244.80" in page
        first, second = home.people.filter(birth_date__year__gt=2000).order_by("birth_date")
        one = client.get(
            reverse("admin:membership_price", args=[home.pk]),
            query | {"people": [first.pk, second.pk], "vouched": [second.pk]},
        ).content.decode()
        assert "$228.00, less sibling $11.20, less voucher $100.00 = $116.80" in one
        assert "344.80" in one
        assert not Membership.objects.exists()

    def test_leaving_changing_and_cancelling_by_their_pages(self, client, coordinator, join, adult):
        taken = join()
        client.force_login(coordinator)
        form = {"key": self.KEY, "on": "2026-12-12", "reason": "turns 18"}
        change = reverse("admin:membership_membership_change-plan", args=[taken.pk])
        assert "72.00 more to pay" in client.get(change).content.decode()
        answer = client.post(change, form | {"plan": adult.pk}, follow=True)
        assert "54.00 more to pay" in answer.content.decode()
        changed = Membership.objects.get(plan=adult)
        end = reverse("admin:membership_membership_end", args=[changed.pk])
        assert "gets back" in client.get(end).content.decode()
        assert client.post(end, form | {"on": "2027-01-12", "reason": "moved"}).status_code == 302
        cancel = reverse("admin:membership_membership_cancel", args=[taken.pk])
        today = form | {"on": "2026-09-12"}
        assert "That day has not come yet" in client.post(cancel, form).content.decode()
        assert "cancel that one first" in client.post(cancel, today).content.decode()
        assert sound()

    def test_a_receipt_pays_a_membership(self, join, by):
        taken = join()
        charging.record_receipt(
            household=taken.person.household, amount=as_amount(228), method=Method.CARD, on=NOW, by=by
        )
        assert fees.balance(taken.person.household) == as_amount(0)
