"""What is said twice is done once, and what cannot be is refused in words: each verb of the fees."""

import uuid
from datetime import date, timedelta

import pytest
from django.db import connection

from clubdesk import guards
from clubdesk.errors import Refused
from clubdesk.expenses import services as expenses
from clubdesk.fees import selectors, services
from clubdesk.fees.expecting import lodged
from clubdesk.fees.invariants import allocations_hold
from clubdesk.fees.models import (
    Arrangement,
    Charge,
    ChargeCredit,
    FeeKind,
    Lodgement,
    Method,
    OpeningBalances,
    Repayment,
    Voucher,
    VoucherScheme,
    VoucherState,
    VoucherValue,
    WriteOff,
)  # fmt: skip
from clubdesk.fees.services import paying_back
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account, balance
from clubdesk.money import as_amount
from tests import factories

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
BEFORE, LATER = NOW - timedelta(days=1), date(2026, 10, 4)
KEY = uuid.UUID("5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01")


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def owe(household, by):
    """The family owes 60 for something that has begun: `owe()`."""
    price = factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)

    def charged(starts_on=NOW, home=household, **more):
        return services.charge(household=home, price=price, on=NOW, starts_on=starts_on, by=by, **more)

    return charged


@pytest.fixture
def receive(household, by):
    def received(amount, method=Method.CARD, on=NOW, **more):
        return services.record_receipt(
            household=household, amount=as_amount(amount), method=method, on=on, by=by, **more
        )

    return received


class TestPrices:
    @pytest.fixture
    def kinds(self, book):
        return {kind: factories.price(kind, amount) for kind, amount in ((FeeKind.COURSE, 126), (FeeKind.HIRE, 7))}

    def test_the_schedule_of_a_kind_has_no_other(self, kinds):
        assert selectors.schedule_of([FeeKind.COURSE], NOW) == {FeeKind.COURSE: kinds[FeeKind.COURSE]}
        assert selectors.schedule_of([FeeKind.VISITOR], NOW) == {}

    def test_a_price_holds_from_its_first_to_its_last_day(self, kinds):
        price = kinds[FeeKind.HIRE]
        price.valid_from, price.valid_until = NOW, LATER
        price.save()
        for day, there in ((BEFORE, False), (NOW, True), (LATER, True), (LATER + timedelta(days=1), False)):
            assert (FeeKind.HIRE in selectors.schedule_of([FeeKind.HIRE], day)) is there
            if there:
                assert selectors.price_of_kind(FeeKind.HIRE, day) == selectors.price_on(price.item, day) == price
                continue
            with pytest.raises(Refused, match="has no price for"):
                selectors.price_of_kind(FeeKind.HIRE, day)
            with pytest.raises(Refused, match="has no price for"):
                selectors.price_on(price.item, day)

    def test_a_kind_without_an_item_is_asked_for(self, kinds):
        with pytest.raises(Refused, match="has no item of the kind “Visitor"):
            selectors.price_of_kind(FeeKind.VISITOR, NOW)


class TestSaidTwice:
    """A form that is sent twice with one key."""

    def test_one_document_is_written_and_money_moves_once(self, household, child, owe, receive, by):
        fee, scheme = owe(person=child), factories.scheme([(2026, "20.00")])
        day = {"on": NOW, "by": by, "key": KEY}
        ten = as_amount(10)
        verbs = [
            (Charge, lambda: owe(key=KEY)),
            (Voucher, lambda: services.accept_voucher(scheme=scheme, charge=fee, code="SV1", **day)),
            (Lodgement, lambda: services.lodge_vouchers(scheme=scheme, **day)),
            (ChargeCredit, lambda: services.credit_charge(charge=fee, amount=ten, reason="ill", **day)),
            (WriteOff, lambda: services.write_off(charge=fee, amount=ten, reason="moved", **day)),
            (Arrangement, lambda: services.agree_parts(household=household, parts=[(NOW, as_amount(80))], **day)),
            (Repayment, lambda: services.repay_credit(household=household, amount=ten, **day)),
        ]  # fmt: skip
        for model, act in verbs:
            if model is Repayment:
                receive(100)
            before = model.objects.count()
            assert act() == act()
            assert model.objects.count() == before + 1
        # Of 120 owed 20 by voucher, 10 credited, 10 written off, 100 received, 10 paid back.
        assert selectors.balance(household) == as_amount(-10)
        assert sound()

    def test_balances_are_brought_in_once(self, household, by):
        for _ in range(2):
            services.bring_in_balances(items=[factories.open_item(household, 45)], by=by, key=KEY)
        assert OpeningBalances.objects.count() == 1
        assert selectors.balance(household) == as_amount(45)

    def test_what_has_begun_becomes_income_once(self, owe, by):
        fee, at_once = owe(starts_on=LATER), owe()
        assert list(selectors.charges_to_recognise(LATER)) == [fee]
        assert services.recognise_due(on=LATER, by=by).count == 1
        for each in (fee, at_once):
            services.recognise(charge=each, by=by)
        assert balance(Role.DONATIONS, LATER) == -120
        assert services.recognise_due(on=LATER, by=by).count == 0

    def test_what_was_credited_whole_never_does(self, owe, by):
        fee = owe(starts_on=LATER)
        services.credit_charge(charge=fee, on=NOW, reason="place withdrawn", by=by)
        assert services.recognise(charge=fee, by=by).recognised_on is None

    def test_what_is_income_waits_for_no_other_day(self, owe):
        with pytest.raises(Refused, match="is income already"):
            services.move_start(charge=owe(), starts_on=LATER)
        moved = services.move_start(charge=owe(starts_on=LATER), starts_on=BEFORE)
        assert moved.starts_on == NOW + timedelta(days=1)


class TestReceipts:
    @pytest.mark.parametrize(("amount", "handed_over"), [("10.02", "10.00"), ("10.03", "10.05")])
    def test_what_was_handed_over_in_cash_is_rounded(self, receive, amount, handed_over):
        assert receive(amount, Method.CASH).handed_over == as_amount(handed_over)

    def test_one_pays_only_its_own_households_charges(self, owe, receive):
        with pytest.raises(Refused, match="only for the family's own charges"):
            receive(60, charges=[owe(home=factories.HouseholdFactory())])

    def test_one_is_not_cancelled_before_it_came(self, receive, by):
        with pytest.raises(Refused, match="received on 12 Sep 2026; it cannot be cancelled before"):
            services.cancel_receipt(receipt=receive(60), on=BEFORE, reason="mistyped", by=by)

    def test_one_that_was_paid_back_in_part_is_not_cancelled(self, household, receive, by):
        receipt = receive(60)
        services.repay_credit(household=household, amount=as_amount(10), on=NOW, by=by)
        with pytest.raises(Refused, match="Part of this receipt was paid back"):
            services.cancel_receipt(receipt=receipt, on=NOW, reason="mistyped", by=by)

    def test_another_that_leaves_room_is_left_alone(self, owe, receive, by):
        fee = owe()
        other = receive(20)
        one = receive(40)
        services.pay_with(receipt=one, charges=[fee], on=NOW, by=by)
        assert other.allocations.get().freed_on is None
        assert selectors.open_amount(fee) == as_amount(0)


class TestACreditPaidBack:
    @pytest.fixture
    def repaid(self, household, receive, by):
        receive(60)
        return services.repay_credit(household=household, amount=as_amount(25), on=NOW, by=by)

    def take_back(self, repaid, by, on=LATER, reason="no such account"):
        return services.take_repayment_back(repayment=repaid, on=on, reason=reason, by=by)

    def test_one_that_the_bank_returned_is_credit_again_once(self, household, repaid, by):
        assert selectors.unused_credit(household) == as_amount(35)
        for _ in range(2):
            assert self.take_back(repaid, by).returned_on == LATER
        assert selectors.unused_credit(household) == as_amount(60)
        assert selectors.balance(household) == as_amount(-60)
        assert balance(Role.BANK, LATER) == 0
        assert sound()

    def test_a_receipt_that_gives_nothing_any_more_for_what_was_paid_back_is_a_fault(self, repaid):
        connection.check_constraints()
        guards.remove(connection)
        repaid.allocations.update(freed_on=NOW)
        guards.install(connection)
        (fault,) = allocations_hold()
        assert fault == f"{repaid} is $25.00; the receipts it came from give $0.00."

    def test_it_comes_back_with_the_banks_words_and_not_before_it_went(self, repaid, by):
        with pytest.raises(Refused, match="paid on 12 Sep 2026; it cannot have come back before"):
            self.take_back(repaid, by, on=BEFORE)
        with pytest.raises(Refused, match="Write what the bank says"):
            self.take_back(repaid, by, reason=" ")

    def test_an_expense_is_paid_once_it_was_approved_and_comes_back_once_it_was_paid(self, by, approver):
        expense = factories.expense(by)
        said = {"reference": "run 1", "narration": "Expense", "lines": []}
        with pytest.raises(Refused, match="Only an approved .* is paid"):
            paying_back.pay(paying_back.locked(expense), on=NOW, by=by, **said)
        expenses.approve_expense(expense=expense, on=NOW, by=approver)
        with pytest.raises(Refused, match="was not paid; nothing can come back"):
            paying_back.take_payment_back(expense, on=NOW, by=by)
        with pytest.raises(Refused, match="approved on 12 Sep 2026; it cannot be paid before"):
            paying_back.pay(paying_back.locked(expense), on=BEFORE, by=by, **said)


class TestCreditsAndDebts:
    def test_a_credit_says_why(self, owe, by):
        with pytest.raises(Refused, match="Say why the fee is credited"):
            services.credit_charge(charge=owe(), on=NOW, reason=" ", by=by)

    def test_nobody_pays_by_a_credit_that_was_brought_in(self, household, by):
        with pytest.raises(Refused, match="say how this was paid"):
            services.record_receipt(household=household, amount=as_amount(9), method=Method.BROUGHT, on=NOW, by=by)

    def test_a_debt_is_not_expected_again_before_it_was_written_off(self, owe, by):
        document = services.write_off(charge=owe(), amount=as_amount(60), on=NOW, reason="moved", by=by)
        with pytest.raises(Refused, match="written off on 12 Sep 2026; the write-off cannot be undone before"):
            services.take_up_again(write_off=document, on=BEFORE, reason="paid", by=by)

    def test_who_owes_nothing_agrees_on_no_parts(self, household, by):
        with pytest.raises(Refused, match="Mirabar family owes nothing"):
            services.agree_parts(household=household, parts=[(NOW, as_amount(60))], on=NOW, by=by)

    def test_a_balance_of_nothing_for_nothing_or_for_no_income_is_not_brought_in(self, household, by):
        for amount, what_for, sentence in (
            (0, Role.COURSES, "Every balance is zero"),
            (45, None, "Say what Mirabar family owes it for"),
            (45, Role.BANK, "1010 Bank is no income"),
        ):
            item = services.OpenItem(household, as_amount(amount), account(what_for) if what_for else None)
            with pytest.raises(Refused, match=sentence):
                services.bring_in_balances(items=[item], by=by)

    def test_a_family_is_brought_in_once_with_all_its_open_items(self, household, by):
        items = [
            factories.open_item(household, 45),
            factories.open_item(household, 20, Role.MEMBERSHIPS),
            factories.open_item(household, -5, None),
        ]
        services.bring_in_balances(items=items, by=by)
        assert selectors.balance(household) == as_amount(60)
        with pytest.raises(Refused, match="are recorded already"):
            services.bring_in_balances(items=[factories.open_item(household, 1)], by=by)

    def test_nothing_is_brought_in_from_before_a_locked_month(self, household, by):
        ledger.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        with pytest.raises(Refused, match="The first month is locked"):
            services.bring_in_balances(items=[factories.open_item(household, 45)], by=by)


class TestVouchers:
    @pytest.fixture
    def scheme(self, book):
        return factories.scheme()

    @pytest.fixture
    def accept(self, scheme, owe, child, by):
        def accepted(charge=None, code="SV1", on=NOW, scheme=scheme):
            fee = charge or owe(person=child)
            return services.accept_voucher(scheme=scheme, charge=fee, code=code, on=on, by=by)

        return accepted

    def test_one_has_a_code_that_nobody_has_used(self, accept, owe):
        with pytest.raises(Refused, match="Type the voucher's code"):
            accept(code=" ")
        accept(code="SV1")
        other = factories.PersonFactory()
        with pytest.raises(Refused, match="This voucher code has been used already"):
            accept(owe(home=other.household, person=other), code="sv 1")

    def test_one_pays_what_is_left_of_a_fee_and_has_a_value(self, accept, owe, child, by):
        fee = owe(person=child)
        with pytest.raises(Refused, match="State sport voucher has no value for 2028"):
            accept(fee, on=date(2028, 1, 4))
        services.credit_charge(charge=fee, on=NOW, reason="ill", by=by)
        with pytest.raises(Refused, match="Nothing of this fee is left for a voucher to pay"):
            accept(fee)

    def test_one_is_refused_or_released_once_and_with_its_reason(self, accept, by, household):
        voucher = accept()
        for verb, sentence in (
            (services.refuse_voucher, "the department's reason"),
            (services.release_voucher, "Say why"),
        ):
            with pytest.raises(Refused, match=sentence):
                verb(voucher=voucher, on=NOW, reason=" ", by=by)
        for _ in range(2):
            assert services.refuse_voucher(voucher=voucher, on=NOW, reason="used", by=by).state == VoucherState.REFUSED
        assert selectors.balance(household) == as_amount(60)
        assert sound()

    def test_those_of_another_scheme_are_not_lodged_with_it(self, accept, scheme, by):
        other = VoucherScheme.objects.create(name="Council sport voucher", department=scheme.department)
        VoucherValue.objects.create(scheme=other, calendar_year=2026, amount=as_amount(50))
        ours, theirs = accept(), accept(code="CV1", scheme=other)
        lodgement = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        assert list(lodgement.vouchers.all()) == [ours]
        theirs.refresh_from_db()
        assert theirs.state == VoucherState.ACCEPTED
        with pytest.raises(Refused, match="No voucher of State sport voucher waits"):
            services.lodge_vouchers(scheme=scheme, on=NOW, by=by)

    def test_a_list_is_paid_once_and_not_where_all_of_it_was_refused(self, accept, scheme, by):
        voucher = accept()
        lodgement = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        for _ in range(2):
            assert services.record_lodgement_paid(lodgement=lodgement, on=LATER, by=by).paid_on == LATER
        assert balance(Role.BANK, LATER) == 60
        voucher.refresh_from_db()
        assert voucher.state == VoucherState.PAID

    def test_of_a_list_that_was_refused_whole_nothing_is_paid_or_expected(self, accept, scheme, by):
        voucher = accept()
        lodgement = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        (expected,) = lodged(NOW)
        assert (expected.cents, expected.key) == (6000, f"lodgement {lodgement.pk}")
        services.refuse_voucher(voucher=voucher, on=LATER, reason="used elsewhere", by=by)
        assert list(lodged(NOW)) == []
        with pytest.raises(Refused, match="Every voucher of this claim was refused"):
            services.record_lodgement_paid(lodgement=lodgement, on=LATER, by=by)

    @pytest.mark.parametrize(("born", "kind", "pays"), [
        (date(2021, 9, 12), FeeKind.COURSE, True), (date(2021, 9, 13), FeeKind.COURSE, False),
        (date(2010, 9, 13), FeeKind.COURSE, True), (date(2010, 9, 12), FeeKind.COURSE, False),
        (date(2014, 3, 9), FeeKind.MEMBERSHIP, False), (date(2014, 3, 9), FeeKind.HIRE, False),
    ])  # fmt: skip
    def test_a_scheme_for_courses_of_ages_5_to_15_is_for_those_alone(self, scheme, child, born, kind, pays):
        scheme.youngest, scheme.oldest, scheme.pays_memberships, scheme.pays_other = 5, 15, False, False
        child.birth_date = born
        assert selectors.is_for(scheme, child, kind, NOW) is pays
