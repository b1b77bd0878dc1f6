"""What a family has in credit: paid back by the bank, or used for what else it owes."""

import uuid
from datetime import date

import pytest

from clubdesk.errors import Refused
from clubdesk.fees import selectors, services
from clubdesk.fees.accounts import statement, who_owes
from clubdesk.fees.admin.household import account_section, statement_section
from clubdesk.fees.models import Allocation, Method, VoucherState
from clubdesk.fees.streams import by_transfer
from clubdesk.ledger.invariants import check_all
from clubdesk.money import as_amount
from tests import factories

pytestmark = pytest.mark.django_db
NOW, BEFORE, LATER = date(2026, 9, 12), date(2026, 8, 1), date(2026, 10, 4)


def sound():
    return [result for result in check_all() if result.faults] == []


def still_open(*charges):
    return [selectors.open_amount(each).amount for each in charges]


def test_by_transfer_came_what_stands_of_it(receive, household, by):
    receive(30), receive(40)
    services.cancel_receipt(receipt=receive(5), on=NOW, reason="another club's", by=by)
    services.record_receipt(household=household, amount=as_amount(20), method=Method.CARD, on=NOW, by=by)
    assert by_transfer() == 70


def test_what_a_credit_frees_of_a_fee_is_of_the_receipt_that_paid_it_last(owe, receive, by):
    fee = owe(50)
    first, last = receive(20), receive(30)
    services.credit_charge(charge=fee, amount=as_amount(25), on=NOW, reason="ill", by=by)
    paid = fee.allocations.standing().values_list("receipt", "amount")
    assert [(pk, amount.amount) for pk, amount in paid] == [(first.pk, 20), (last.pk, 5)]
    assert sound()


class TestPaidBack:
    @pytest.fixture
    def repay(self, household, by):
        def repaid(amount, **more):
            return services.repay_credit(household=household, amount=as_amount(amount), on=NOW, by=by, **more)

        return repaid

    @pytest.fixture
    def in_credit(self, household):
        return lambda: selectors.unused_credit(household).amount

    def test_of_30_and_40_with_10_paid_back_60_are_left(self, receive, repay, in_credit):
        receive(30), receive(40)
        repay(10)
        assert in_credit() == 60
        assert sound()

    def test_the_latest_receipt_is_paid_back_first_and_the_next_for_the_rest(self, receive, repay, in_credit):
        latest, before = receive(40), receive(30, on=BEFORE)
        document = repay(50)
        used = Allocation.objects.filter(repayment=document).order_by("pk")
        assert [(each.receipt, each.amount.amount) for each in used] == [(latest, 40), (before, 10)]
        assert in_credit() == 20
        assert sound()

    def test_what_the_bank_paid_already_frees_no_more_of_a_fee_than_is_missing(self, owe, receive, repay, in_credit):
        fee = owe(50)
        receive(50)
        repay(30, has_paid=True)
        assert (still_open(fee), in_credit()) == ([30], 0)
        assert sound()

    def test_where_one_fee_is_not_enough_the_fee_before_it_makes_up_the_rest(self, owe, receive, repay, in_credit):
        fees = [owe(50) for _ in range(3)]
        receive(150)
        repay(60, has_paid=True)
        assert (still_open(*fees), in_credit()) == ([0, 10, 50], 0)
        assert sound()

    def test_what_is_in_credit_is_paid_back_before_any_fee_is_freed(self, owe, receive, repay, in_credit):
        fee = owe(50)
        receive(70)
        repay(30, has_paid=True)
        assert (still_open(fee), in_credit()) == ([10], 0)
        assert sound()

    def test_another_familys_credit_is_left_alone(self, household, receive, repay, in_credit, by):
        receive(40)
        other = factories.HouseholdFactory()
        services.record_receipt(household=other, amount=as_amount(30), method=Method.CARD, on=NOW, by=by)
        repay(10)
        assert (in_credit(), selectors.unused_credit(other).amount) == (30, 30)

    def test_another_familys_cancelled_receipt_lets_nobody_else_be_paid_back(self, receive, repay, by):
        receive(40)
        other = factories.HouseholdFactory()
        taken = services.record_receipt(household=other, amount=as_amount(30), method=Method.CARD, on=NOW, by=by)
        services.cancel_receipt(receipt=taken, on=NOW, reason="bounced", by=by)
        with pytest.raises(Refused, match=r"has a credit of \$40\.00; no more than that"):
            repay(41, has_paid=True)

    def test_the_same_key_pays_it_back_once(self, receive, repay, in_credit):
        receive(40)
        key = uuid.UUID("6f1c1c9e-6f6b-4b6e-9d0d-0f5d7a0c1b12")
        assert repay(10, key=key) == repay(10, key=key)
        assert in_credit() == 30

    def test_no_more_than_was_ever_paid_is_said_to_be_paid_back(self, owe, receive, repay):
        fee = owe(50)
        receive(50)
        with pytest.raises(Refused, match=r"has a credit of \$50\.00; no more than that"):
            repay(51, has_paid=True)
        assert still_open(fee) == [0]

    def test_what_was_paid_back_of_a_cancelled_receipt_is_owed_and_covered_first(
        self, owe, receive, repay, household, by
    ):
        fee = owe(50)
        receive(50)
        services.cancel_receipt(receipt=receive(30), on=NOW, reason="another family's", by=by)
        for more in ({}, {"has_paid": True}):
            with pytest.raises(Refused, match="no more than that"):
                repay(81, **more)
        repay(80, has_paid=True)
        assert (still_open(fee), selectors.balance(household)) == ([50], as_amount(80))
        shown = account_section(None, household)
        assert [row[2:] for row in shown.rows] == [(as_amount(80), as_amount(30)), (as_amount(50), as_amount(50))]
        _, _, amounts, balances = zip(*statement_section(None, household).rows, strict=True)
        assert balances[0] == sum(amounts) == statement(household, NOW).closing
        assert list(balances[1:]) == [after - amount for after, amount in zip(balances, amounts[:-1], strict=False)]
        assert sum(statement(household, NOW).ages.values()) == 80
        assert household in who_owes()
        with pytest.raises(Refused, match="no more than that"):
            repay(1, has_paid=True)
        receive(40)
        assert (still_open(fee), selectors.balance(household)) == ([40], as_amount(40))
        assert sound()


class TestUsedForWhatElseIsOwed:
    """The family has paid a fee of 50 and owes another of 30."""

    @pytest.fixture
    def paid(self, owe, receive):
        fee = owe(50)
        receive(50)
        return fee

    @pytest.fixture
    def other(self, paid, owe):
        return owe(30)

    def test_what_a_credited_fee_sets_free_pays_the_fee_that_is_open(self, household, paid, other, by):
        services.credit_charge(charge=paid, on=NOW, reason="ill", by=by)
        assert still_open(paid, other) == [0, 0]
        assert selectors.unused_credit(household) == as_amount(20)
        assert sound()

    def test_what_a_fee_taken_back_sets_free_pays_the_fee_that_is_open(self, household, paid, other, by):
        told = services.take_back(charge=paid, keep=as_amount(5), on=NOW, reason="ill", by=by)
        assert told.to_credit == as_amount(45)
        assert still_open(paid, other) == [0, 0]
        assert selectors.unused_credit(household) == as_amount(15)
        assert sound()

    def test_a_credit_of_part_frees_only_what_is_no_longer_owed(self, household, paid, by):
        services.credit_charge(charge=paid, amount=as_amount(20), on=NOW, reason="one evening fell out", by=by)
        assert still_open(paid) == [0]
        assert selectors.unused_credit(household) == as_amount(20)

    def test_a_credit_comes_off_what_is_not_paid_yet_first(self, household, owe, receive, by):
        fee = owe(50)
        receive(35)
        services.credit_charge(charge=fee, amount=as_amount(20), on=NOW, reason="one evening fell out", by=by)
        assert still_open(fee) == [0]
        assert selectors.unused_credit(household) == as_amount(5)


class TestVouchersOfAFeeTakenBack:
    """The child's first voucher was not claimed, the second pays 100 of a fee of 126."""

    @pytest.fixture
    def fee(self, owe, child, by):
        charged, scheme = owe(126, person=child), factories.scheme()
        first = services.accept_voucher(scheme=scheme, charge=charged, code="SV1", on=NOW, by=by)
        services.release_voucher(voucher=first, on=NOW, reason="the sibling's", by=by)
        services.accept_voucher(scheme=scheme, charge=charged, code="SV2", on=NOW, by=by)
        return charged

    def claimed(self, fee):
        rows = fee.vouchers.filter(state=VoucherState.ACCEPTED)
        return [(each.code, each.amount.amount) for each in rows]

    def test_only_the_one_that_was_claimed_pays_what_is_kept(self, fee, by):
        told = services.take_back(charge=fee, keep=as_amount(40), on=NOW, reason="moved away", by=by)
        assert (told.by_voucher, told.voucher_freed) == (as_amount(40), as_amount(60))
        assert self.claimed(fee) == [("SV2", 40)]
        assert still_open(fee) == [0]
        assert sound()

    def test_only_the_one_that_was_claimed_pays_the_fee_charged_again(self, fee, by):
        again = services.charge_again(
            charge=fee, starts_on=LATER, description="Course, October", on=NOW, reason="flood", by=by
        )
        assert (self.claimed(fee), self.claimed(again)) == ([], [("SV2", 100)])
        assert still_open(fee, again) == [0, 26]
        assert sound()
