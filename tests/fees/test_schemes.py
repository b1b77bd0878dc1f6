"""The rules of schemes at work: keys, windows, lapses, what a voucher pays for, what is never given back as money."""

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import Group
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank.selectors import credits_to_repay
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import deadlines, selectors, services
from clubdesk.fees.expecting import lodged
from clubdesk.fees.models import FeeKind, Lodgement, Method, TiedCredit, Voucher, VoucherState
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.mail.models import Message
from clubdesk.money import as_amount, nil
from clubdesk.rooms import COORDINATOR
from tests import factories
from tests.fees import ten_schemes as ten

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
BORN = date(2014, 3, 9)
NUMBER, ANOTHER = "21234567111", "21234567121"


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def fee(book, by):
    """A fee of a child: `fee(child, 200)`."""

    def charged(child, amount=200, on=NOW, kind=FeeKind.MEMBERSHIP, **item):
        price = factories.price(kind, str(amount), Role.MEMBERSHIPS, code=f"fee-{amount}-{len(made)}")
        for name, value in item.items():
            setattr(price.item, name, value)
        price.item.save()
        made.append(price)
        return services.charge(household=child.household, person=child, price=price, on=on, starts_on=on, by=by)

    made = []
    return charged


@pytest.fixture
def child(book):
    return factories.PersonFactory(birth_date=BORN)


def next_year(by):
    ledger.open_year(first_day=date(2027, 7, 1), by=by)


def take(scheme, charge, by, code="SV1", on=NOW, **more):
    return services.accept_voucher(scheme=scheme, charge=charge, code=code, on=on, by=by, **more)


def check_digit(number):
    """The number with the ninth digit that the weights of its scheme give."""
    weights = (1, 3, 7, 9, 1, 3, 7, 9)
    right = sum(int(sign) * weight for sign, weight in zip(number[:8], weights, strict=True)) % 10
    return f"{number[:8]}{right}{number[9:]}"


class TestTheKeyOfAVoucher:
    NUMBER = check_digit(NUMBER)

    def test_a_childs_number_is_the_same_for_each_voucher_and_in_each_year(self, child, fee, by):
        scheme = ten.SA_2025.entered()
        first = take(scheme, fee(child), by, self.NUMBER)
        second = take(scheme, fee(child), by, "")
        assert (first.code, second.code) == (self.NUMBER, self.NUMBER)
        with pytest.raises(Refused, match="has used 2 vouchers of .* in 2026 already"):
            take(scheme, fee(child), by, self.NUMBER)
        next_year = date(2027, 2, 1)
        assert take(scheme, fee(child, on=next_year), by, self.NUMBER, on=next_year).calendar_year == 2027
        assert sound()

    @pytest.mark.parametrize(("number", "sentence"), [
        ("212345671", "A number of .* looks like ###########"),
        (f"{NUMBER[:8]}{(int(check_digit(NUMBER)[8]) + 1) % 10}11", "A digit of this number is wrong"),
        ("", "Type the number of the child"),
    ])  # fmt: skip
    def test_a_number_that_cannot_be_right_is_refused(self, child, fee, by, number, sentence):
        with pytest.raises(Refused, match=sentence):
            take(ten.SA_2025.entered(), fee(child), by, number)

    def test_the_number_of_another_child_is_refused_and_the_database_refuses_it_too(self, child, fee, by):
        scheme, brother = ten.SA_2025.entered(), factories.PersonFactory(birth_date=BORN)
        first = take(scheme, fee(child), by, self.NUMBER)
        charge = fee(brother)
        with pytest.raises(Refused, match="this number of another child"):
            take(scheme, charge, by, self.NUMBER)
        for wrong in ({"code": self.NUMBER, "of_child": True}, {"code": "SV9", "of_child": False}):
            with pytest.raises(IntegrityError, match="known as its scheme says"), transaction.atomic():
                Voucher.objects.create(
                    scheme=scheme, person=brother, charge=charge, calendar_year=2026, amount=first.amount,
                    accepted_on=NOW, recorded_by=by, **wrong,
                )  # fmt: skip

    def test_what_its_vouchers_are_known_by_stays_once_one_was_taken(self, child, fee, by):
        scheme = ten.SA_2025.entered()
        scheme.key_kind = "code"
        scheme.save()
        scheme.key_kind = "child"
        scheme.save()
        take(scheme, fee(child), by, self.NUMBER)
        for change in ({"key_kind": "code"}, {"year_begins": 7}):
            with pytest.raises(IntegrityError, match="what they are known by stays"), transaction.atomic():
                type(scheme).objects.filter(pk=scheme.pk).update(**change)

    def test_it_is_masked_and_told_to_nobody_who_does_not_claim(self, child, fee, by, client, auditor, coordinator):
        voucher = take(ten.SA_2025.entered(), fee(child), by, self.NUMBER)
        pages = [reverse("admin:fees_voucher_change", args=[voucher.pk]), reverse("admin:fees_voucher_changelist")]
        for who, finds in ((auditor, False), (coordinator, True)):
            client.force_login(who)
            for page in pages:
                assert self.NUMBER not in client.get(page).content.decode()
            found = client.get(reverse("admin:find"), {"q": self.NUMBER}).content.decode()
            assert ("••••" in found) is finds

    def test_it_is_erased_once_its_answer_is_old_enough_and_a_code_stays(self, child, fee, by):
        scheme, coded = ten.SA_2025.entered(), ten.QLD_2025.entered()
        paid, refused, waits = (take(scheme, fee(each), by, number) for each, number in (
            (child, self.NUMBER),
            (factories.PersonFactory(birth_date=BORN), check_digit(ANOTHER)),
            (factories.PersonFactory(birth_date=BORN), check_digit("31234567111")),
        ))  # fmt: skip
        of_code = take(coded, fee(child), by, "QQ1")
        services.refuse_voucher(voucher=refused, on=NOW, reason="used elsewhere", by=by)
        for each in (scheme, coded):
            claim = services.lodge_vouchers(scheme=each, on=NOW, by=by)
            answered = {
                pk: as_amount(100)
                for pk in claim.vouchers.filter(pk__in=(paid.pk, of_code.pk)).values_list("pk", flat=True)
            }
            services.answer_lodgement(lodgement=claim, paid=answered, refused={}, on=NOW, by=by)
        nightly(on=NOW + timedelta(days=90), by=by)
        assert not Voucher.objects.exclude(code_erased_on=None).exists()
        for _ in range(2):
            nightly(on=NOW + timedelta(days=91), by=by)
        for voucher in (paid, refused, waits, of_code):
            voucher.refresh_from_db()
        assert (paid.code, paid.masked_code, refused.masked_code) == (f"erased-{paid.pk}", "erased", "erased")
        assert (waits.code[:8], of_code.code) == ("31234567", "QQ1")
        assert sound()


class TestHowManyAndWhen:
    def test_one_in_each_of_two_windows(self, child, fee, by):
        scheme = ten.NSW_2025.entered()
        next_year(by)
        spring, again, autumn = date(2027, 2, 1), date(2027, 7, 14), date(2027, 7, 15)
        first = take(scheme, fee(child, on=spring), by, "A1", on=spring)
        assert (str(first.window), first.amount) == ("15 Jan to 14 Jul", as_amount(50))
        with pytest.raises(Refused, match="has used the voucher of .* for 15 Jan to 14 Jul 2027 already"):
            take(scheme, fee(child, on=again), by, "A2", on=again)
        charge = fee(child, on=again)
        with pytest.raises(IntegrityError, match="voucher of this window"), transaction.atomic():
            Voucher.objects.create(
                scheme=scheme, person=child, charge=charge, code="A3", calendar_year=2027, window=first.window,
                amount=as_amount(1), accepted_on=again, recorded_by=by,
            )  # fmt: skip
        assert take(scheme, charge, by, "A2", on=autumn).amount == as_amount(50)
        assert sound()

    def test_outside_the_windows_none_is_taken(self, child, fee, by):
        new_year = date(2027, 1, 10)
        with pytest.raises(Refused, match="the next can be from 15 Jan 2027 on"):
            take(ten.NSW_2025.entered(), fee(child, on=new_year), by, on=new_year)

    def test_a_financial_year_has_its_own_voucher_and_value(self, child, fee, by):
        next_year(by)
        scheme, june, july = ten.WA_V3.entered(), date(2027, 6, 30), date(2027, 7, 1)
        scheme.values.filter(calendar_year=2027).update(amount=as_amount(150))
        assert take(scheme, fee(child, 400), by, "A1B2C3", issued_on=NOW).amount == as_amount(300)
        with pytest.raises(Refused, match="of KidSport .* in 2026/27 already"):
            take(scheme, fee(child, on=june), by, "D4E5F6", on=june, issued_on=june)
        later = take(scheme, fee(child, 400, on=july), by, "D4E5F6", on=july, issued_on=june)
        assert (later.calendar_year, later.amount) == (2027, as_amount(150))
        assert sound()

    def test_only_one_on_a_fee_where_the_scheme_says_so(self, child, fee, by):
        many, one = ten.SA_2025.entered(), ten.BY_NEW_YEAR.entered()
        charge = fee(child, 500)
        for _ in range(2):
            take(many, charge, by, check_digit(NUMBER))
        take(one, charge, by, "R1")
        with pytest.raises(Refused, match="pays this fee already, and only one may"):
            take(one, charge, by, "R2")
        with pytest.raises(IntegrityError, match="Only one voucher of the scheme"), transaction.atomic():
            Voucher.objects.create(
                scheme=one, person=child, charge=charge, code="R2", calendar_year=2026, amount=as_amount(1),
                accepted_on=NOW, recorded_by=by,
            )  # fmt: skip
        assert take(one, fee(child), by, "R2").amount == as_amount(80)

    def test_one_that_lapsed_is_refused_before_it_is_taken(self, child, fee, by):
        scheme, charge = ten.WA_V3.entered(), fee(child)
        with pytest.raises(Refused, match="lapses 90 days after its issue; say"):
            take(scheme, charge, by, "A1B2C3")
        with pytest.raises(Refused, match="would be issued on 13 Sep 2026, after it was taken"):
            take(scheme, charge, by, "A1B2C3", issued_on=NOW + timedelta(days=1))
        with pytest.raises(Refused, match="lapsed on 11 Sep 2026; the family can ask"):
            take(scheme, charge, by, "A1B2C3", issued_on=NOW - timedelta(days=91))
        taken = take(scheme, charge, by, "A1B2C3", issued_on=NOW - timedelta(days=90))
        assert (taken.lapses_on, taken.claim_by) == (NOW, NOW)

    def test_the_earliest_of_its_last_days_counts(self, child, fee, by):
        scheme = ten.BY_MID_YEAR.entered()
        assert take(scheme, fee(child), by).claim_by == NOW + timedelta(days=30)
        scheme.values.update(last_claim_on=date(2026, 9, 30))
        other = factories.PersonFactory(birth_date=BORN)
        assert take(scheme, fee(other), by, "SV2").claim_by == date(2026, 9, 30)
        late = date(2026, 10, 1)
        with pytest.raises(Refused, match="The last day to claim .* was 30 Sep 2026"):
            take(scheme, fee(other, on=late), by, "SV3", on=late)


class TestByWhenTheyAreClaimed:
    @pytest.fixture
    def taken(self, fee, by):
        """Three vouchers to be claimed within 3, 10 and 40 days."""
        scheme = ten.WA_V3.entered()
        return [
            take(
                scheme, fee(factories.PersonFactory(birth_date=BORN)), by, f"A1B2C{number}",
                issued_on=NOW - timedelta(days=90 - left),
            )
            for number, left in enumerate((10, 40, 3))
        ]  # fmt: skip

    def test_home_and_its_page_say_so_the_least_days_first(self, taken, client, coordinator):
        clock.set_today(NOW)
        client.force_login(coordinator)
        assert "1 by 15 Sep 2026, 1 by 22 Sep 2026" in client.get(reverse("admin:index")).content.decode()
        text = client.get(reverse("admin:vouchers_to_claim")).content.decode()
        places = [text.index(f">{left}<") for left in (3, 10, 40)]
        assert places == sorted(places)

    def test_its_page_asks_as_often_for_many_as_for_few(self, taken, fee, by, client, coordinator):
        client.force_login(coordinator)
        asked = []
        for turn in "XY":
            with CaptureQueriesContext(connection) as queries:
                client.get(reverse("admin:vouchers_to_claim"))
            asked.append(len(queries))
            for number in range(3, 9):
                child = factories.PersonFactory(birth_date=BORN)
                take(taken[0].scheme, fee(child), by, f"A1B2{turn}{number}", issued_on=NOW)
        assert asked[0] == asked[1]

    def test_the_coordinator_is_told_by_letter_once_and_again_at_the_last(self, taken, by, coordinator):
        coordinator.email = "coordinator@example.org"
        coordinator.save()
        coordinator.groups.set([Group.objects.get(name=COORDINATOR)])
        for day in (0, 0, 1, 7, 8):
            nightly(on=NOW + timedelta(days=day), by=by)
        bodies = [letter.body for letter in Message.objects.filter(to="coordinator@example.org").order_by("pk")]
        assert len(bodies) == 2, "on the first day, and three days before the second"
        assert "1 by 15 September 2026\n1 by 22 September 2026" in bodies[0]
        assert "1 by 22 September 2026" in bodies[1]
        assert "1 more can no longer be claimed" in bodies[1]
        assert not any(str(each.person) in body for each in taken for body in bodies)

    def test_what_is_too_late_is_left_out_of_the_claim_and_said(self, taken, by):
        late, scheme = NOW + timedelta(days=4), taken[0].scheme
        claim = services.lodge_vouchers(scheme=scheme, on=late, by=by)
        assert set(claim.vouchers.all()) == {taken[0], taken[1]}
        assert list(deadlines.too_late(late)) == [taken[2]]
        with pytest.raises(Refused, match="had to be claimed by 15 Sep 2026"):
            services.lodge_vouchers(scheme=scheme, on=late, by=by)
        services.release_voucher(voucher=taken[2], on=late, reason="too late", by=by)
        with pytest.raises(Refused, match="No voucher of .* waits"):
            services.lodge_vouchers(scheme=scheme, on=late, by=by)
        assert sound()

    def test_what_has_lapsed_is_not_set_against_what_is_kept_of_a_fee(self, taken, by):
        voucher = taken[2]
        services.take_back(charge=voucher.charge, on=NOW + timedelta(days=4), reason="left", keep=as_amount(50), by=by)
        voucher.refresh_from_db()
        assert voucher.state == VoucherState.RELEASED
        assert selectors.open_amount(voucher.charge) == as_amount(50)
        assert not Voucher.objects.filter(selectors.STANDING_VOUCHER, charge=voucher.charge).exists()
        assert sound()


class TestADepartmentThatPays:
    """By its own reference, and by its own promise."""

    @pytest.fixture
    def claim(self, child, fee, by):
        scheme = ten.QLD_2025.entered()
        take(scheme, fee(child), by)
        return services.lodge_vouchers(scheme=scheme, on=NOW, by=by)

    def test_its_reference_is_expected_on_the_line_of_the_bank(self, claim, child, fee, by, client, coordinator):
        client.force_login(coordinator)
        page = reverse("admin:fees_lodgement_reference", args=[claim.pk])
        sent = {"reference": " PO  4711 ", "key": "9b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a02"}
        assert "has the reference PO 4711" in client.post(page, sent, follow=True).content.decode()
        (expected,) = lodged(NOW)
        assert expected.references == (f"lodgement {claim.pk}", "PO 4711")
        other = factories.PersonFactory(birth_date=BORN)
        take(claim.scheme, fee(other), by, "SV2")
        second = services.lodge_vouchers(scheme=claim.scheme, on=NOW, by=by)
        with pytest.raises(Refused, match="has this reference and is not paid yet"):
            services.note_reference(lodgement=second, reference="po 4711", by=by)

    def test_one_that_is_not_paid_by_its_promise_is_pointed_out(self, claim, by, client, coordinator):
        # Source: Play On!, Queensland: paid in ten business days. A Saturday's claim is due on the second Friday.
        due = date(2026, 9, 25)
        assert claim.promised_by == due
        assert (deadlines.paid_late(due), deadlines.paid_late(due + timedelta(days=1))) == ([], [claim])
        clock.set_today(due + timedelta(days=1))
        client.force_login(coordinator)
        assert "should have paid by now" in client.get(reverse("admin:index")).content.decode()
        assert "25 Sep 2026, late" in client.get(reverse("admin:fees_lodgement_changelist")).content.decode()
        services.record_lodgement_paid(lodgement=claim, on=due, by=by)
        assert deadlines.paid_late(due + timedelta(days=1)) == []
        assert "late" not in client.get(reverse("admin:fees_lodgement_change", args=[claim.pk])).content.decode()


class TestForWhat:
    def test_sessions_at_least(self, child, fee, by):
        scheme = ten.VIC_2025.entered()
        with pytest.raises(Refused, match="pays for 4 sessions at least; write on the fee"):
            take(scheme, fee(child), by)
        with pytest.raises(Refused, match="pays for 4 sessions at least; .* has 3"):
            take(scheme, fee(child, sessions=3), by)
        assert take(scheme, fee(child, sessions=4), by).amount == as_amount(200)

    def test_only_at_registration(self, child, fee, by):
        scheme, last = ten.BY_SCHOOL.entered(), NOW + timedelta(days=7)
        with pytest.raises(Refused, match="only at registration, for this fee until 19 Sep 2026"):
            take(scheme, fee(child), by, on=last + timedelta(days=1))
        assert take(scheme, fee(child), by, on=last).amount == as_amount(60)

    def test_never_for_what_is_paid_already_where_the_scheme_says_so(self, child, fee, by):
        scheme, family = ten.BY_NEW_YEAR.entered(), child.household
        charge = fee(child)
        services.record_receipt(household=family, amount=as_amount(150), method=Method.CARD, on=NOW, by=by)
        assert take(scheme, charge, by, "R1").amount == as_amount(50), "what is still to pay"
        assert selectors.unused_credit(family) == nil()
        paid = fee(child, 90)
        services.record_receipt(household=family, amount=as_amount(90), method=Method.CARD, on=NOW, by=by)
        with pytest.raises(Refused, match="This fee is paid, and Riverland bows never pays for what is paid"):
            take(scheme, paid, by, "R2")
        assert sound()


class TestNeverGivenBackAsMoney:
    """A family pays 200, and a voucher of 120 takes the place of so much of it."""

    @pytest.fixture
    def scheme(self, book):
        return ten.BY_MID_YEAR.entered()

    @pytest.fixture
    def family(self, child):
        return child.household

    @pytest.fixture
    def voucher(self, scheme, child, family, fee, by):
        charge = fee(child)
        services.record_receipt(household=family, amount=as_amount(200), method=Method.CARD, on=NOW, by=by)
        return take(scheme, charge, by)

    def repay(self, family, amount, by, **more):
        return services.repay_credit(household=family, amount=as_amount(amount), on=NOW, by=by, **more)

    def test_the_credit_pays_fees_and_is_not_repaid(self, voucher, family, by):
        assert (selectors.unused_credit(family), selectors.payable_credit(family)) == (as_amount(120), nil())
        with pytest.raises(Refused, match=r"\$120.00 of the credit .* came from a sport voucher, which is never given"):
            self.repay(family, 1, by)
        assert sound()

    def test_it_keeps_where_it_came_from_through_another_fee_that_is_taken_back(self, voucher, family, child, fee, by):
        other = fee(child, 100)
        assert selectors.unused_credit(family) == as_amount(20)
        services.credit_charge(charge=other, on=NOW, reason="withdrawn", by=by)
        assert (selectors.unused_credit(family), selectors.payable_credit(family)) == (as_amount(120), nil())
        services.take_back(charge=voucher.charge, on=NOW, reason="left", by=by)
        assert selectors.unused_credit(family) == as_amount(200), (
            "the voucher was not claimed, and all is its own money"
        )
        assert self.repay(family, 200, by).amount == as_amount(200)
        assert sound()

    def test_what_the_family_paid_besides_is_its_own(self, voucher, family, by):
        services.lodge_vouchers(scheme=voucher.scheme, on=NOW, by=by)
        services.take_back(charge=voucher.charge, on=NOW, reason="left", by=by)
        assert selectors.unused_credit(family) == as_amount(200)
        with pytest.raises(Refused, match=r"no more than \$80.00 can be repaid"):
            self.repay(family, 81, by)
        self.repay(family, 80, by)
        assert selectors.payable_credit(family) == nil()
        assert sound()

    def test_a_voucher_that_is_refused_or_paid_short_ties_no_more_than_it_pays(self, voucher, family, by):
        claim = services.lodge_vouchers(scheme=voucher.scheme, on=NOW, by=by)
        services.answer_lodgement(lodgement=claim, paid={voucher.pk: as_amount(50)}, refused={}, on=NOW, by=by)
        assert sum(each.amount.amount for each in TiedCredit.objects.filter(freed_on=None)) == 50
        assert selectors.unused_credit(family) == as_amount(50)
        assert sound()

    def test_where_the_bank_has_paid_it_the_family_owes_it_again(self, voucher, family, by):
        self.repay(family, 100, by, has_paid=True)
        assert selectors.paid_back_beyond().get(household=family).open_amount == 100
        assert sound()

    def test_the_database_refuses_it_too(self, voucher, family, by):
        (tied,) = TiedCredit.objects.all()
        with pytest.raises(IntegrityError, match="tied as long as the voucher pays"), transaction.atomic():
            TiedCredit.objects.update(freed_on=NOW)
        repaid = self.repay(family, 100, by, has_paid=True)
        with pytest.raises(IntegrityError, match="never paid back as money"), transaction.atomic():
            tied.receipt.allocations.create(repayment=repaid, amount=as_amount(1), used_on=NOW)

    def test_what_still_pays_the_fee_is_paid_back_only_once_it_is_free(self, voucher, family, child, fee, by):
        """Else the family would have its money, and keep what the voucher gave it as a credit."""
        other = fee(child, 50)
        assert selectors.payable_credit(family) == nil()
        services.credit_charge(charge=voucher.charge, on=NOW, reason="a gift", amount=as_amount(30), by=by)
        assert (selectors.unused_credit(family), selectors.payable_credit(family)) == (as_amount(100), as_amount(30))
        services.credit_charge(charge=other, on=NOW, reason="withdrawn", by=by)
        assert (selectors.unused_credit(family), selectors.payable_credit(family)) == (as_amount(150), as_amount(30))
        self.repay(family, 30, by)
        assert selectors.payable_credit(family) == nil()
        assert sound()

    def test_what_pays_less_of_the_fee_again_keeps_what_it_tied(self, voucher, family, by):
        """The club keeps 90, which the voucher pays now: so much of the family's 200 is never money."""
        services.take_back(charge=voucher.charge, on=NOW, reason="left", by=by, keep=as_amount(90))
        assert (selectors.unused_credit(family), selectors.payable_credit(family)) == (as_amount(200), as_amount(110))
        assert sound()

    def test_what_pays_a_fee_that_is_charged_again_keeps_what_it_tied(self, voucher, family, by):
        services.charge_again(
            charge=voucher.charge, starts_on=NOW + timedelta(days=30), description="Later", on=NOW, reason="later",
            by=by,
        )  # fmt: skip
        assert sum(each.amount.amount for each in TiedCredit.objects.filter(freed_on=None)) == 120, (
            "of it 80 pays again"
        )
        assert (selectors.unused_credit(family), selectors.payable_credit(family)) == (as_amount(120), as_amount(80))
        assert sound()

    def test_a_voucher_that_goes_with_its_child_ties_no_more_than_it_pays(self, voucher, family, child, by):
        services.lodge_vouchers(scheme=voucher.scheme, on=NOW, by=by)
        services.call_off(charge=voucher.charge, on=NOW, reason="flood", by=by)
        services.charge_next(
            carried=services.lock_carried(family, [child]), household=family, person=child, price=voucher.charge.price,
            description="The next course", on=NOW, starts_on=NOW + timedelta(days=30), by=by,
        )  # fmt: skip
        assert sum(each.amount.amount for each in TiedCredit.objects.filter(freed_on=None)) == 120
        assert sound()

    def test_a_payment_run_leaves_it_out(self, voucher, family):
        assert family.pk not in credits_to_repay()

    def test_a_scheme_that_does_not_forbid_it_ties_nothing(self, child, family, fee, by):
        charge = fee(child)
        services.record_receipt(household=family, amount=as_amount(200), method=Method.CARD, on=NOW, by=by)
        take(ten.QLD_2025.entered(), charge, by)
        assert selectors.payable_credit(family) == as_amount(200)
        assert not TiedCredit.objects.exists()


def test_the_pages_of_a_scheme_and_of_a_voucher_say_what_is_meant(client, treasurer, coordinator, child, fee, by):
    clock.set_today(date(2026, 11, 27))
    scheme, kindly = ten.SA_2025.entered(), ten.KINDLY.entered()
    client.force_login(treasurer)
    text = client.get(reverse("admin:fees_voucherscheme_change", args=[scheme.pk])).content.decode()
    assert "1 Jan 2011" in text
    assert "31 Dec 2021" in text
    client.force_login(coordinator)
    page = reverse("admin:fees_charge_voucher", args=[fee(child).pk])
    text = client.get(page).content.decode()
    assert "Issued on" in text
    assert "School year" not in text
    assert "or the child’s number" in text
    sent = {
        "scheme": kindly.pk, "code": "79927398713", "birth_date": BORN, "issued_on": "2026-11-01", "on": "2026-11-27",
        "key": "9b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01",
    }  # fmt: skip
    client.post(page, sent)
    voucher = Voucher.objects.get()
    assert (voucher.claim_by, voucher.of_child) == (date(2026, 12, 1), True)
    assert Lodgement.objects.count() == 0
