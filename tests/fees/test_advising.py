"""What is said of the vouchers that children have left: the sentences, and that the deed comes to what they say."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.families import FeeToCome
from clubdesk.fees import advising, services
from clubdesk.fees.models import FeeKind, Method, VoucherScheme, VoucherWindow
from clubdesk.fees.selectors import balance
from clubdesk.ledger.models import Role
from clubdesk.money import as_amount
from tests import factories, families
from tests.fees import ten_schemes as ten
from tests.fees.test_ten_schemes_through import key_of

pytestmark = pytest.mark.django_db
NOW = date(2026, 8, 3)
BORN = date(2014, 3, 9)


@pytest.fixture
def home(book):
    return factories.HouseholdFactory(name="Mirabar", guardian="Ida Mirabar", email="ida@example.org")


@pytest.fixture
def ada(home):
    return factories.PersonFactory(household=home, given_name="Ada", birth_date=BORN)


@pytest.fixture
def fee(by):
    """A fee of a child: `fee(child, 200)`."""

    def charged(child, amount, kind=FeeKind.COURSE, on=NOW, description="Beginner course", **more):
        price = factories.price(kind, str(amount), Role.MEMBERSHIPS, code=f"fee-{len(made)}")
        price.item.sessions = price.item.weeks = 8
        price.item.save()
        made.append(price)
        return services.charge(
            household=more.pop("household", child.household), person=child, price=price, on=on, starts_on=on, by=by,
            description=description, **more,
        )  # fmt: skip

    made = []
    return charged


def said(home, on=NOW, **more):
    people = home.people.all()
    return [sentence for each in advising.advice(home, people, on, **more) for sentence in each.sentences]


def take(scheme, charge, by, on=NOW):
    issued_on = on if scheme.valid_days is not None else None
    return services.accept_voucher(
        scheme=scheme, charge=charge, code=key_of(scheme), on=on, by=by, issued_on=issued_on
    )  # fmt: skip


class TestWhatIsSaid:
    def test_the_fee_that_takes_it_whole(self, home, book, ada, fee):
        factories.scheme(name="Winter voucher")
        fee(ada, 55)
        fee(ada, 128, FeeKind.MEMBERSHIP, description="Junior membership")
        assert said(home) == [
            "Ada has one voucher of Winter voucher left in 2026, worth $100.00 (to 31 December 2026): best set against "
            "Junior membership ($128.00); nothing is forgone."
        ]

    def test_what_would_be_forgone(self, home, book, ada, fee):
        factories.scheme(name="Winter voucher")
        fee(ada, 55)
        assert said(home)[0].endswith(
            "best set against Beginner course ($55.00); $45.00 would be forgone, unless a larger fee comes."
        )

    def test_in_a_window_until_its_last_day_and_when_more_can_be_used(self, home, book, ada, fee):
        ten.NSW_2025.entered()
        fee(ada, 55)
        assert said(home, date(2027, 2, 1)) == [
            "Ada has one voucher of Active and Creative Kids of New South Wales, 2025 left in 2027, worth $50.00 (to "
            "14 July 2027): best set against Beginner course ($55.00); nothing is forgone. More can be used from "
            "15 July 2027."
        ]
        assert said(home, date(2027, 1, 14)) == []
        assert "More" not in said(home)[0]

    def test_a_window_does_not_give_what_the_year_has_not(self, home, book, ada, fee):
        scheme = ten.NSW_2025.entered()
        VoucherWindow.objects.filter(scheme=scheme).update(allows=2)
        VoucherScheme.objects.update(per_year=1)
        fee(ada, 200)
        (sentence,) = said(home)
        assert sentence.startswith("Ada has one voucher of")
        assert "More" not in sentence

    def test_several_on_several_fees_and_one_that_is_kept(self, home, book, ada, fee):
        ten.BY_NEW_YEAR.entered()
        fee(ada, 90)
        fee(ada, 128, FeeKind.MEMBERSHIP, description="Junior membership")
        assert said(home) == [
            "Ada has 3 vouchers of Riverland bows left in 2026, worth $80.00 each (to 31 December 2026): 2 of them "
            "best set against Beginner course ($90.00) and Junior membership ($128.00); nothing is forgone. Keep one "
            "for a later fee."
        ]

    def test_in_a_year_that_is_not_the_calendars(self, home, book, ada, fee):
        ten.BY_MID_YEAR.entered()
        fee(ada, 200)
        assert "left in 2026/27, worth $120.00 (to 30 June 2027):" in said(home)[0]

    def test_no_longer_than_it_can_be_claimed(self, home, book, ada, fee):
        scheme = factories.scheme([(2026, "100.00")])
        scheme.values.update(last_claim_on=NOW)
        fee(ada, 200)
        assert "(to 3 August 2026)" in said(home)[0]
        assert said(home, NOW + timedelta(days=1)) == []

    def test_that_nothing_to_pay_takes_it(self, home, book, ada, fee):
        VoucherScheme.objects.filter(pk=factories.scheme().pk).update(pays_courses=False)
        fee(ada, 55)
        assert said(home)[0].endswith(": what is to pay now does not take it; keep it for a later fee.")
        fee(ada, 60)
        assert said(home)[0].endswith(": none of what is to pay now takes it; keep it for a later fee.")

    def test_what_was_paid_of_the_fee_becomes_credit(self, home, book, ada, fee, by):
        factories.scheme()
        fee(ada, 100)
        services.record_receipt(household=home, amount=as_amount(45), method=Method.TRANSFER, on=NOW, by=by)
        assert said(home)[0].endswith(
            "best set against Beginner course ($55.00); nothing is forgone. $45.00 that was paid already becomes "
            "credit."
        )

    def test_of_a_renewal_what_the_familys_credit_leaves_where_only_what_is_unpaid_counts(
        self, home, book, ada, fee, by
    ):
        VoucherScheme.objects.filter(pk=factories.scheme().pk).update(only_unpaid=True)
        item = factories.price(FeeKind.MEMBERSHIP, "128.00", Role.MEMBERSHIPS, code="m").item
        services.record_receipt(household=home, amount=as_amount(50), method=Method.TRANSFER, on=NOW, by=by)
        renewal = FeeToCome(ada.pk, "renewing the Junior membership", 12800, item)
        assert said(home, to_come=[renewal])[0].endswith(
            "best set against renewing the Junior membership ($78.00); $22.00 would be forgone, unless a larger fee "
            "comes."
        )


class TestNothingIsSaid:
    @pytest.mark.parametrize("why", ["no scheme", "no value of the year", "too young", "nothing open", "used"])
    def test_where_nothing_is_left(self, home, book, ada, fee, by, why):
        charge = fee(ada, 200)
        if why != "no scheme":
            scheme = factories.scheme([(2025 if why == "no value of the year" else 2026, "100.00")])
        if why == "too young":
            VoucherScheme.objects.update(youngest=13)
        if why == "nothing open":
            services.record_receipt(household=home, amount=as_amount(200), method=Method.TRANSFER, on=NOW, by=by)
        if why == "used":
            assert len(said(home)) == 1
            take(scheme, charge, by)
        assert said(home) == []

    def test_of_what_another_family_pays(self, home, book, ada, fee):
        factories.scheme()
        other = factories.HouseholdFactory(name="Other home")
        fee(ada, 200, household=other)
        assert said(home) == []
        assert len(said(other)) == 1

    def test_of_a_fee_that_was_credited_but_for_a_part(self, home, book, ada, fee, by):
        factories.scheme()
        charge = fee(ada, 200)
        services.take_back(charge=charge, on=NOW, reason="withdrew", by=by, keep=as_amount(50))
        assert said(home) == []

    def test_of_more_than_is_reckoned(self, home, book, ada, fee):
        factories.scheme()
        for _ in range(8):
            fee(ada, 20)
        assert len(said(home)) == 1
        fee(ada, 20)
        assert said(home) == []


@pytest.mark.parametrize("told", ten.TEN, ids=lambda scheme: scheme.name)
def test_as_many_are_left_as_are_taken_until_one_is_refused(home, book, ada, fee, by, told):
    scheme, taken = told.entered(), []
    value, windows = scheme.values.get(calendar_year=2026), list(scheme.windows.all())
    first = advising.left_of(value, windows, ada, taken, NOW).count
    for count in range(first):
        charge = fee(ada, 400)
        assert advising.left_of(value, windows, ada, taken, NOW).count == first - count
        assert len(said(home)) == 1
        taken.append(take(scheme, charge, by))
    assert advising.left_of(value, windows, ada, taken, NOW) is None
    with pytest.raises(Refused, match="already"):
        take(scheme, fee(ada, 400), by)
    assert said(home) == []


def test_the_deed_comes_to_what_the_sentences_say(home, book, ada, fee, by):
    """Three schemes on three fees, one of them paid in part: taken as they are said, as much is left to pay."""
    for each in (ten.NSW_2025, ten.QLD_2025, ten.BY_NEW_YEAR):
        each.entered()
    charges = [fee(ada, amount, description=f"Course {amount}") for amount in (60, 230, 110)]
    services.record_receipt(household=home, amount=as_amount(45), method=Method.TRANSFER, on=NOW, by=by)
    sentences = said(home)
    assert len(sentences) == 3
    taken = 0
    for scheme in VoucherScheme.objects.order_by("-only_unpaid", "pk"):
        (sentence,) = (each for each in sentences if f" of {scheme} left" in each)
        for charge in charges:
            if f"{charge} (" in sentence:
                taken += take(scheme, charge, by).amount.amount
    promised = {"Riverland bows": 3 * 80, "Play On": 200, "Active and Creative": 50}
    forgone = sum(
        int(each.split(" would be forgone")[0].rsplit("$", 1)[1].split(".")[0]) for each in sentences
        if "would be forgone" in each
    )  # fmt: skip
    assert taken == sum(promised.values()) - forgone
    assert balance(home).amount == 400 - 45 - taken


@pytest.mark.parametrize("children", [1, 5])
def test_it_asks_as_often_for_one_child_as_for_many(home, book, fee, children, ada):
    for each in ten.TEN[:4]:
        each.entered()
    for number in range(children):
        child = ada if not number else factories.PersonFactory(household=home, birth_date=BORN)
        fee(child, 200)
    with CaptureQueriesContext(connection) as asked:
        found = advising.advice(home, home.people.all(), NOW)
    assert len(found) == children
    assert len(asked) == 5


class TestOnTheFamilysPage:
    def test_it_stands_there_with_who_decides_and_of_no_other_family(self, client, home, ada, fee):
        factories.scheme()
        fee(ada, 55)
        fee(factories.PersonFactory(given_name="Bela"), 55)
        with clock.on(NOW):
            page = client.get(families.page_of(client, home)).content.decode()
        assert "Ada has one voucher of State sport voucher left in 2026, worth $100.00" in page
        assert advising.AS_THE_DEPARTMENT_SAYS in page
        assert "Bela" not in page

    def test_nothing_stands_there_where_nothing_is_left(self, client, home, ada, fee):
        fee(ada, 55)
        with clock.on(NOW):
            answer = client.get(families.page_of(client, home))
        assert answer.context["vouchers"] == []
        assert "Sport vouchers" not in answer.content.decode()
