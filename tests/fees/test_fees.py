"""Fees: what is charged, paid, credited and vouched for, each posting as the design's table says."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import selectors, services
from clubdesk.fees.models import FeeKind, FeePrice, Method, Voucher
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear, JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.membership import services as membership
from clubdesk.money import as_amount, cash_rounded
from tests import factories

pytestmark = pytest.mark.django_db
NOW, LATER = date(2026, 9, 12), date(2026, 10, 4)


def lines(purpose):
    """(account, who, amount) of the last entry with the purpose."""
    entry = JournalEntry.objects.filter(purpose=purpose).latest("pk")
    return [
        (row.account.name, str(row.party or ""), row.amount.amount)
        for row in entry.postings.select_related("account", "party").order_by("pk")
    ]


def at_end(role):
    return balance(role, date(2027, 6, 30))


def sound():
    return [result for result in check_all() if result.faults] == []


def charge(by, household, price=None, on=NOW, starts_on=NOW, **more):
    return services.charge(
        household=household, price=price or factories.price(), on=on, starts_on=starts_on, by=by, **more
    )


def receive(by, household, amount, method=Method.TRANSFER, on=NOW, **more):
    return services.record_receipt(household=household, amount=as_amount(amount), method=method, on=on, by=by, **more)


class TestTheSchedule:
    def test_the_price_of_a_day_is_the_latest_that_has_begun(self, book):
        item = factories.price(amount="120.00").item
        FeePrice.objects.create(item=item, valid_from=LATER, amount=as_amount("126.00"))
        assert selectors.price_on(item, NOW).amount == as_amount("120.00")
        assert selectors.price_on(item, LATER).amount == as_amount("126.00")

    def test_the_list_of_fees_says_what_each_costs_today(self, client, treasurer):
        factories.price(FeeKind.COURSE, "126.00", Role.COURSES)
        client.force_login(treasurer)
        assert '<span class="figure">$126.00</span>' in client.get("/fees/feeitem/").content.decode()

    def test_a_day_without_a_price_is_refused(self, book):
        old = factories.price()
        old.valid_until = date(2026, 1, 1)
        old.save()
        with pytest.raises(Refused, match="no price for Course fee on 12 Sep 2026"):
            selectors.price_on(old.item, NOW)

    def test_a_price_that_was_charged_and_its_shares_stay(self, household, by):
        price = factories.price(FeeKind.MEMBERSHIP, "228", Role.MEMBERSHIPS, shares=[(factories.association(), "71")])
        charge(by, household, price)
        price.amount = as_amount("200")
        with pytest.raises(IntegrityError, match="kept"):
            price.save()

    def test_shares_never_come_to_more_than_the_price(self, book):
        with pytest.raises(IntegrityError, match="more than the price"):
            factories.price(FeeKind.MEMBERSHIP, "100", Role.MEMBERSHIPS, shares=[(factories.association(), "101")])


class TestCharging:
    def test_what_has_started_is_income_at_once_with_the_associations_shares(self, household, by):
        state, national = factories.association(), factories.association("National archery body")
        price = factories.price(
            FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS, shares=[(state, "71.00"), (national, "45.00")]
        )
        charge(by, household, price)
        assert lines("charge") == [
            ("Fees owed", "Mirabar family", Decimal("228.00")),
            ("Memberships", "", Decimal("-112.00")),
            ("Affiliation payable", "State archery association", Decimal("-71.00")),
            ("Affiliation payable", "National archery body", Decimal("-45.00")),
        ]
        assert sound()

    def test_what_starts_later_waits_in_fees_in_advance_until_it_starts(self, household, by):
        document = charge(by, household, starts_on=LATER)
        assert lines("charge")[1] == ("Fees in advance", "", Decimal("-126.00"))
        assert services.recognise_due(on=date(2026, 10, 3), by=by).count == 0
        assert services.recognise_due(on=LATER, by=by).count == 1
        assert services.recognise_due(on=LATER, by=by).count == 0
        assert lines("recognise") == [
            ("Fees in advance", "", Decimal("126.00")),
            ("Beginner courses", "", Decimal("-126.00")),
        ]
        document.refresh_from_db()
        assert document.recognised_on == LATER
        assert sound()

    def test_a_start_in_a_locked_month_is_recognised_on_the_first_open_day(self, household, by):
        charge(by, household, starts_on=LATER)
        ledger.lock_month(month_end=date(2026, 10, 31), reason="a test", by=by)
        services.recognise_due(on=date(2026, 11, 5), by=by)
        assert JournalEntry.objects.get(purpose="recognise").date == date(2026, 11, 1)

    def test_a_charge_is_never_changed(self, household, by):
        document = charge(by, household)
        document.amount = as_amount("1.00")
        with pytest.raises(IntegrityError, match="keeps what the ledger says"):
            document.save()


class TestReceiving:
    @pytest.mark.parametrize(
        ("method", "account"),
        [(Method.CASH, "Cash box"), (Method.CARD, "Card takings"), (Method.TRANSFER, "Bank")],
    )
    def test_each_way_of_paying_goes_to_its_own_account(self, household, by, method, account):
        charge(by, household)
        receive(by, household, "126.00", method)
        assert lines("receipt") == [
            (account, "", Decimal("126.00")),
            ("Fees owed", "Mirabar family", Decimal("-126.00")),
        ]
        assert selectors.balance(household) == as_amount(0)
        assert sound()

    def test_a_receipt_pays_the_oldest_charge_first_unless_another_is_chosen(self, household, by):
        price = factories.price(amount="50.00")
        old = charge(by, household, price, on=date(2026, 8, 1), starts_on=date(2026, 8, 1))
        new = charge(by, household, price)
        receive(by, household, "50.00", charges=[new])
        assert [selectors.open_amount(each).amount for each in (old, new)] == [50, 0]
        receive(by, household, "30.00")
        assert selectors.open_amount(old) == as_amount("20.00")

    def test_what_is_paid_too_much_stays_as_credit_and_pays_the_next_charge(self, household, by):
        price = factories.price(amount="50.00")
        charge(by, household, price)
        receive(by, household, "70.00")
        assert selectors.unused_credit(household) == as_amount("20.00")
        assert selectors.balance_in_words(household) == "in credit by $20.00"
        later = charge(by, household, price)
        assert selectors.open_amount(later) == as_amount("30.00")
        assert sound()

    def test_a_credit_is_repaid_from_the_bank_and_never_more_than_it(self, household, by):
        receive(by, household, "70.00")
        with pytest.raises(Refused, match=r"credit of \$70.00"):
            services.repay_credit(household=household, amount=as_amount("70.01"), on=NOW, by=by)
        services.repay_credit(household=household, amount=as_amount("70.00"), on=NOW, by=by)
        assert lines("repaid")[1] == ("Bank", "", Decimal("-70.00"))
        assert at_end(Role.BANK) == 0
        assert sound()

    def test_a_cancelled_receipt_is_reversed_and_its_charge_is_open_again(self, household, by):
        document = charge(by, household)
        receipt = receive(by, household, "126.00")
        services.cancel_receipt(receipt=receipt, on=NOW, reason="wrong family", by=by)
        services.cancel_receipt(receipt=receipt, on=NOW, reason="wrong family", by=by)
        assert selectors.open_amount(document) == as_amount("126.00")
        assert at_end(Role.BANK) == 0
        assert sound()

    def test_the_same_key_records_one_receipt(self, household, by):
        key = "6f1c1c9e-6f6b-4b6e-9d0d-0f5d7a0c1b11"
        first = receive(by, household, "10.00", key=key)
        assert receive(by, household, "10.00", key=key) == first
        assert JournalEntry.objects.filter(purpose="receipt").count() == 1

    def test_the_database_refuses_to_spend_a_receipt_or_settle_a_charge_twice(self, household, by):
        charge(by, household)
        receive(by, household, "126.00")
        with pytest.raises(IntegrityError, match="more than its amount"), connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO fees_allocation (receipt_id, charge_id, amount, used_on)"
                " SELECT receipt_id, charge_id, 1, used_on FROM fees_allocation"
            )

    @pytest.mark.parametrize("amount", ["0.00", "-5.00"])
    def test_nothing_is_not_a_receipt(self, household, by, amount):
        with pytest.raises(Refused, match="more than 0.00"):
            receive(by, household, amount)


class TestCashRounding:
    # Source: Australian Competition and Consumer Commission, guideline on the withdrawal of one and two cent coins:
    # a cash total ending in 1 or 2 cents goes down to the nearest 10, 3 or 4 up to 5, 6 or 7 down to 5, 8 or 9 up.
    @pytest.mark.parametrize(
        ("total", "handed_over"),
        [("1.00", "1.00"), ("1.01", "1.00"), ("1.02", "1.00"), ("1.03", "1.05"), ("1.04", "1.05"), ("1.05", "1.05"),
         ("1.06", "1.05"), ("1.07", "1.05"), ("1.08", "1.10"), ("1.09", "1.10"), ("1.98", "2.00")],
    )  # fmt: skip
    def test_a_cash_total_rounds_to_five_cents(self, total, handed_over):
        assert cash_rounded(as_amount(total)) == as_amount(handed_over)

    @pytest.mark.parametrize(("total", "till", "rounding"), [("10.02", "10.00", "0.02"), ("10.03", "10.05", "-0.02")])
    def test_the_rounding_has_its_own_account(self, household, by, total, till, rounding):
        charge(by, household, factories.price(amount=total))
        receive(by, household, total, Method.CASH)
        assert lines("receipt") == [
            ("Cash box", "", Decimal(till)),
            ("Cash rounding", "", Decimal(rounding)),
            ("Fees owed", "Mirabar family", -Decimal(total)),
        ]
        assert sound()

    @pytest.mark.parametrize("method", [Method.CARD, Method.TRANSFER])
    def test_cards_and_transfers_are_not_rounded(self, household, by, method):
        assert receive(by, household, "10.03", method).rounding == as_amount(0)

    def test_two_cents_are_nothing_in_cash(self, household, by):
        with pytest.raises(Refused, match="rounds to nothing"):
            receive(by, household, "0.02", Method.CASH)


class TestCrediting:
    def test_before_the_start_the_credit_comes_out_of_fees_in_advance(self, household, by):
        document = charge(by, household, starts_on=LATER)
        receive(by, household, "126.00")
        services.credit_charge(charge=document, on=NOW, reason="place withdrawn", by=by)
        assert lines("credit")[0] == ("Fees in advance", "", Decimal("126.00"))
        assert selectors.unused_credit(household) == as_amount("126.00")
        assert services.recognise_due(on=LATER, by=by).count == 0
        assert sound()

    def test_after_it_the_clubs_own_part_is_debited_first_and_the_associations_beyond_it(self, household, by):
        state = factories.association()
        price = factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS, shares=[(state, "71.00")])
        document = charge(by, household, price)
        services.credit_charge(charge=document, amount=as_amount("100.00"), on=NOW, reason="left early", by=by)
        assert lines("credit") == [
            ("Memberships", "", Decimal("100.00")),
            ("Fees owed", "Mirabar family", Decimal("-100.00")),
        ]
        services.credit_charge(charge=document, on=NOW, reason="never came", by=by)
        assert lines("credit") == [
            ("Memberships", "", Decimal("57.00")),
            ("Affiliation payable", "State archery association", Decimal("71.00")),
            ("Fees owed", "Mirabar family", Decimal("-128.00")),
        ]
        assert sound()

    def test_beyond_the_clubs_own_part_the_associations_give_way_in_proportion(self, household, by):
        bodies = factories.association(), factories.association("National archery body")
        shares = [(bodies[0], "71.00"), (bodies[1], "45.00")]
        price = factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS, shares=shares)
        document = charge(by, household, price)
        services.credit_charge(charge=document, amount=as_amount("170.00"), on=NOW, reason="hardship", by=by)
        # 58.00 of the 116.00 is left: half of each share, 22.50 and 35.50.
        assert lines("credit")[1:3] == [
            ("Affiliation payable", "State archery association", Decimal("35.50")),
            ("Affiliation payable", "National archery body", Decimal("22.50")),
        ]
        assert sound()

    def test_no_more_than_the_charge_is_credited(self, household, by):
        document = charge(by, household)
        services.credit_charge(charge=document, amount=as_amount("100.00"), on=NOW, reason="part", by=by)
        with pytest.raises(Refused, match=r"Only \$26.00"):
            services.credit_charge(charge=document, amount=as_amount("26.01"), on=NOW, reason="rest", by=by)


class TestVouchers:
    @pytest.fixture
    def plan(self, book):
        return factories.plan("236.00")

    def join(self, by, child, plan):
        return membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by).charge

    def accept(self, by, scheme, document, code="SV1", on=NOW):
        return services.accept_voucher(scheme=scheme, charge=document, code=code, on=on, by=by)

    # Common practice, no source: a membership fee of 236 with a voucher of 100 leaves 136, with one of 200 leaves 36.
    @pytest.mark.parametrize(("worth", "left"), [("100.00", "136.00"), ("200.00", "36.00")])
    def test_the_voucher_pays_its_value_and_the_family_the_rest(self, by, child, plan, worth, left):
        document = self.join(by, child, plan)
        self.accept(by, factories.scheme([(2026, worth)]), document)
        assert selectors.open_amount(document) == as_amount(left)
        assert at_end(Role.VOUCHERS_OWED) == Decimal(worth)
        assert sound()

    def test_a_fee_of_80_against_a_voucher_of_100_claims_80(self, by, child):
        # Source: a state's published programme terms.
        document = self.join(by, child, factories.plan("80.00"))
        assert self.accept(by, factories.scheme(), document).amount == as_amount("80.00")
        assert at_end(Role.VOUCHERS_OWED) == Decimal("80.00")

    def test_one_voucher_a_child_and_calendar_year(self, by, child, plan):
        scheme = factories.scheme()
        document = self.join(by, child, plan)
        self.accept(by, scheme, document)
        with pytest.raises(Refused, match="has used a voucher"):
            self.accept(by, scheme, document, "SV2")
        self.accept(by, scheme, document, "SV3", on=date(2027, 1, 5))
        assert [voucher.amount.amount for voucher in Voucher.objects.order_by("pk")] == [100, 136]

    def test_a_voucher_after_the_family_has_paid_leaves_a_credit(self, by, child, plan):
        document = self.join(by, child, plan)
        receive(by, child.household, "236.00")
        self.accept(by, factories.scheme(), document)
        assert selectors.unused_credit(child.household) == as_amount("100.00")
        assert sound()

    def test_a_refused_voucher_makes_the_family_owe_again_and_the_others_are_paid(self, by, child, plan):
        scheme = factories.scheme()
        sibling = factories.PersonFactory(household=child.household)
        vouchers = [self.accept(by, scheme, self.join(by, who, plan), f"SV{who.pk}") for who in (child, sibling)]
        lodgement = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        services.refuse_voucher(voucher=vouchers[0], on=LATER, reason="used elsewhere", by=by)
        services.record_lodgement_paid(lodgement=lodgement, on=LATER, by=by)
        assert at_end(Role.VOUCHERS_OWED) == 0
        assert at_end(Role.BANK) == Decimal("100.00")
        assert selectors.balance(child.household) == as_amount("372.00")
        assert sound()
        with pytest.raises(Refused, match="is paid; the department cannot"):
            services.refuse_voucher(voucher=vouchers[1], on=LATER, reason="no", by=by)


def test_what_courses_earned_in_a_year_stands_by_the_fee_behind_it(owe, by):
    whole, credited = owe(50), owe(30)
    services.credit_charge(charge=credited, amount=as_amount(10), on=NOW, reason="ill", by=by)
    hall = [debit(Role.BANK, as_amount(5)), credit(Role.COURSES, as_amount(5))]
    ledger.record_journal(on=NOW, narration="Hall", lines=hall, by=by)
    year, following = FinancialYear.objects.get(), ledger.open_year(first_day=date(2027, 7, 1), by=by)
    with clock.on(date(2027, 7, 2)):
        later = owe(7, on=date(2027, 7, 2))
        ledger.close_year(year=year, on=date(2027, 7, 2), by=by)
    assert selectors.earned_by_charge(year, account__role=Role.COURSES) == {whole.pk: 50, credited.pk: 20, None: 5}
    assert selectors.earned_by_charge(following, account__role=Role.COURSES) == {later.pk: 7}
