"""Renewing memberships, and the list of those to renew."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees.models import FeePrice, Voucher
from clubdesk.fees.selectors import open_amount
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.membership import selectors
from clubdesk.membership import services as membership
from clubdesk.membership.models import Membership
from clubdesk.money import as_amount
from tests import factories
from tests.forms import agreed, form_of
from tests.membership.joining import NOW, sound

pytestmark = pytest.mark.django_db


class TestRenewing:
    @pytest.fixture
    def home(self, junior, join):
        """A household of two whose memberships end on 11 September 2027, the second with a discount."""
        junior.sibling_percent = 10
        junior.save()
        home = factories.HouseholdFactory(guardian="Ida Mirabar", email="ida@example.org")
        for _ in range(2):
            join(factories.PersonFactory(household=home))
        return home

    def test_the_due_list_says_what_it_would_cost_and_that_is_what_is_charged(self, home, by):
        assert selectors.renewals(date(2027, 8, 11)) == []
        (found,) = selectors.renewals(date(2027, 8, 12))
        said = [line.quote.price.working for line in found.lines]
        assert said == ["$228.00", "$228.00, less sibling $11.20 = $216.80"]
        renewed = membership.renew_household(household=home, on=date(2027, 8, 20), by=by)
        assert [row.working for row in renewed] == said
        assert {(row.starts_on, row.ends_on) for row in renewed} == {(date(2027, 9, 12), date(2028, 9, 11))}
        assert selectors.renewals(date(2027, 8, 20)) == []
        again = membership.renew_household(household=home, on=date(2027, 8, 20), by=by)
        assert again == renewed
        with pytest.raises(Refused, match="Nothing of"):
            membership.renew_household(household=home, on=date(2027, 8, 21), by=by)
        assert balance(Role.FEES_IN_ADVANCE, date(2027, 8, 31)) == -Decimal("444.80")
        assert sound()

    def test_a_household_is_written_to_once_before_and_once_after(self, home, by):
        for day in (date(2027, 8, 12), date(2027, 8, 13), date(2027, 9, 12), date(2027, 9, 13)):
            with clock.on(day):
                nightly(on=day, by=by)
        letters = Message.objects.filter(about__startswith="renewal").order_by("pk")
        assert [letter.subject for letter in letters] == ["Your memberships end soon", "Your memberships have ended"]
        assert "to 11 September 2027: $228.00, less sibling $11.20 = $216.80" in letters[0].body
        assert "To renew all of them costs $444.80." in letters[0].body

    def test_siblings_who_end_on_different_days_are_told_of_on_their_own(self, home, join, by):
        later = factories.PersonFactory(household=home, given_name="Cleo")
        join(later, starts_on=date(2026, 10, 1))
        for passed in range(100):
            with clock.on(date(2027, 8, 1) + timedelta(days=passed)):
                membership.remind_renewals(on=clock.today())
        letters = Message.objects.filter(about__startswith="renewal")
        of_cleo = [letter.subject for letter in letters.order_by("pk") if "Cleo" in letter.body]
        assert of_cleo == ["Your memberships end soon", "Your memberships have ended"]
        assert letters.count() == 4

    def test_after_the_days_of_grace_it_has_lapsed(self, home, by):
        last = date(2027, 10, 11)
        assert len(selectors.renewals(last)[0].lines) == 2
        assert selectors.renewals(last + timedelta(days=1)) == []
        assert len(selectors.lapsed(last + timedelta(days=1))) == 2
        person = home.people.first()
        words = [selectors.standing_in_words(person, day) for day in (
            date(2026, 9, 11), NOW, date(2027, 9, 20), date(2027, 10, 12))]  # fmt: skip
        assert words == [
            "not a member", "member to 11 Sep 2027", "ended on 11 Sep 2027, can still be renewed",
            "lapsed since 11 Sep 2027",
        ]  # fmt: skip

    def test_who_is_too_old_by_then_is_left_out_with_the_reason(self, home, junior, by):
        junior.oldest = 12
        junior.save()
        (found,) = selectors.renewals(date(2027, 8, 20))
        assert ["Choose another" in line.problem for line in found.lines] == [True, True]
        with pytest.raises(Refused, match="Choose another"):
            membership.renew_household(household=home, on=date(2027, 8, 20), by=by)

    def test_a_missing_price_holds_nobody_else_back(self, home, by):
        FeePrice.objects.update(valid_until=date(2027, 6, 30))
        (found,) = selectors.renewals(date(2027, 8, 20))
        assert ["add one first" in line.problem for line in found.lines] == [True, True]
        nightly(on=date(2027, 8, 20), by=by)

    @pytest.fixture
    def desk(self, client, coordinator):
        clock.set_today(date(2027, 8, 20))
        client.force_login(coordinator)
        return client

    def test_the_list_leads_to_a_page_that_says_what_is_charged_and_sent(self, desk, home):
        page = desk.get(reverse("admin:renewals")).content.decode()
        assert f"Renew {home}: $444.80" in page
        url = reverse("admin:roll_household_renew", args=[home.pk])
        assert f'href="{url}"' in page
        shown_first = desk.get(url)
        told = dict(shown_first.context["facts"])
        assert told["Charged in all"] == as_amount("444.80")
        assert told["Letters"].endswith("1 letter goes out.")
        assert Membership.objects.count() == 2
        sent = form_of(shown_first)
        answer = desk.post(url, sent, follow=True)
        assert "to 11 Sep 2028: $228.00, less sibling $11.20 = $216.80" in answer.content.decode()
        assert desk.post(url, sent).status_code == 302
        assert Membership.objects.count() == 4

    def voucher(self, person, scheme, **more):
        return {
            "voucher-TOTAL_FORMS": 1, "voucher-INITIAL_FORMS": 0, "voucher-0-person": person.pk,
            "voucher-0-scheme": scheme.pk, "voucher-0-code": "SV-1", "voucher-0-issued_on": "",
            "voucher-0-birth_date": person.birth_date.isoformat(), **more,
        }  # fmt: skip

    def test_a_voucher_is_entered_in_the_same_step_and_the_price_said_as_families_say_it(self, desk, home):
        scheme, first = factories.scheme([(2027, "100.00")]), home.people.order_by("pk")[0]
        url = reverse("admin:roll_household_renew", args=[home.pk])
        sent = form_of(desk.get(url)) | {"people": [first.pk], **self.voucher(first, scheme)}
        looked = desk.post(url, sent)
        told = dict(looked.context["facts"])
        assert "$228.00, less voucher $100.00 = $128.00" in told.values()
        assert told["Left to pay"] == as_amount("128.00")
        assert not Voucher.objects.exists()
        answer = desk.post(url, sent | {"seen": looked.context["seen"]}, follow=True)
        assert "$228.00, less voucher $100.00 = $128.00" in answer.content.decode()
        assert "$228.00, less voucher $100.00 = $128.00" in Message.objects.latest("pk").body
        charge = Membership.objects.get(person=first, starts_on__year=2027).charge
        assert Voucher.objects.get().charge == charge
        assert open_amount(charge) == as_amount("128.00")
        assert desk.post(url, sent | {"seen": looked.context["seen"]}).status_code == 302
        assert Voucher.objects.count() == 1

    @pytest.mark.parametrize(
        ("wrong", "sentence"),
        [
            ({"voucher-0-birth_date": "2001-01-01"}, "is not the date of birth"),
            ({"voucher-0-code": ""}, "Look at the vouchers below"),
            ({"voucher-0-person": "other"}, "is charged nothing here"),
        ],
    )
    def test_what_the_voucher_s_scheme_refuses_renews_nobody(self, desk, home, wrong, sentence):
        scheme, (first, second) = factories.scheme(), home.people.order_by("pk")
        wrong = {name: second.pk if value == "other" else value for name, value in wrong.items()}
        born = {"voucher-0-birth_date": second.birth_date.isoformat()} if "voucher-0-person" in wrong else {}
        url = reverse("admin:roll_household_renew", args=[home.pk])
        sent = form_of(desk.get(url)) | {"people": [first.pk], **self.voucher(first, scheme), **born, **wrong}
        answer = agreed(desk, url, sent)
        assert sentence in answer.content.decode()
        assert Membership.objects.count() == 2
        assert not Voucher.objects.exists()

    def test_one_voucher_more_keeps_what_was_typed(self, desk, home):
        scheme, first = factories.scheme([(2027, "100.00")]), home.people.first()
        url = reverse("admin:roll_household_renew", args=[home.pk])
        answer = desk.post(url, form_of(desk.get(url)) | {**self.voucher(first, scheme), "more": "voucher"})
        assert answer.status_code == 200
        assert 'value="SV-1"' in answer.content.decode()
        assert 'id="voucher-1"' in answer.content.decode()
        assert "errorlist" not in answer.content.decode()

    def test_the_family_chooses_who_is_renewed_and_sees_what_those_cost_alone(self, client, coordinator, home):
        clock.set_today(date(2027, 8, 20))
        client.force_login(coordinator)
        url = reverse("admin:roll_household_renew", args=[home.pk])
        page = client.get(url)
        none = {"voucher-TOTAL_FORMS": 0, "voucher-INITIAL_FORMS": 0}
        first, second = home.people.order_by("pk")
        assert f"{second}: $228.00, less sibling $11.20 = $216.80" in page.content.decode()
        sent = {"key": page.context["form"]["key"].value(), "people": [second.pk], **none}
        looked = client.post(url, sent)
        assert ("You chose", str(second)) in looked.context["facts"]
        assert dict(looked.context["facts"])["Charged in all"] == as_amount("228.00")
        assert Membership.objects.count() == 2
        client.post(url, sent | {"seen": looked.context["seen"]})
        assert [(row.person, row.working) for row in Membership.objects.filter(starts_on__year=2027)] == [
            (second, "$228.00")
        ]
        assert [line.membership.person for each in selectors.renewals(clock.today()) for line in each.lines] == [first]

    def test_nobody_chosen_renews_nobody(self, client, coordinator, home):
        clock.set_today(date(2027, 8, 20))
        client.force_login(coordinator)
        url = reverse("admin:roll_household_renew", args=[home.pk])
        answer = client.post(url, {"key": "7d444840-9dc0-11d1-b245-5ffdce74fad2"})
        assert "Tick who is renewed." in answer.content.decode()
        assert Membership.objects.count() == 2


def test_the_list_of_renewals_asks_the_book_no_more_often_for_many(client, coordinator, join):
    client.force_login(coordinator)
    asked = []
    for count in (5, 50):
        for _ in range(count):
            join()
        clock.set_today(date(2027, 8, 20))
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse("admin:renewals")).status_code == 200
        asked.append(len(queries))
        clock.set_today(NOW)
    assert asked[0] == asked[1]
