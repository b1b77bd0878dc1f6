"""An arrangement asks for no more than is owed, whatever is credited, written off or paid by a voucher meanwhile."""

from datetime import date

import pytest

from clubdesk.fees import accounts, services
from clubdesk.fees.models import Arrangement
from clubdesk.ledger.invariants import check_all
from clubdesk.money import as_amount
from tests import factories
from tests.fees.conftest import NOW

pytestmark = pytest.mark.django_db
SEPTEMBER, OCTOBER, NOVEMBER = date(2026, 9, 30), date(2026, 10, 31), date(2026, 11, 30)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def fee(owe, child):
    return owe(110, person=child)


@pytest.fixture
def agreed(fee, household, by):
    """110.00 in parts of 40.00, 40.00 and 30.00."""
    parts = [(SEPTEMBER, as_amount(40)), (OCTOBER, as_amount(40)), (NOVEMBER, as_amount(30))]
    return services.agree_parts(household=household, parts=parts, on=NOW, note="by phone", by=by)


def parts(household):
    standing = household.arrangements.filter(ended_on=None).first()
    return [(part.due_on, part.amount) for part in standing.parts.all()] if standing else []


def shown(household, day):
    return [(due, str(amount), state) for due, amount, state in accounts.statement(household, day).parts()]


class TestWhatIsOwedLess:
    def test_a_credit_comes_off_the_last_parts(self, agreed, fee, household, by):
        services.credit_charge(charge=fee, amount=as_amount(35), on=NOW, reason="goodwill", by=by)
        assert parts(household) == [(SEPTEMBER, as_amount(40)), (OCTOBER, as_amount(35))]
        agreed.refresh_from_db()
        assert agreed.ended_on == NOW
        assert household.arrangements.get(ended_on=None).agreed_on == NOW
        assert sound()

    def test_a_voucher_leaves_what_is_still_the_familys_to_pay(self, agreed, fee, household, by):
        services.accept_voucher(scheme=factories.scheme(), charge=fee, code="SV1", on=NOW, by=by)
        assert parts(household) == [(SEPTEMBER, as_amount(10))]
        assert sound()

    def test_what_was_paid_is_not_asked_for_again(self, agreed, fee, household, receive, by):
        receive(40, date(2026, 9, 20))
        services.credit_charge(charge=fee, amount=as_amount(20), on=date(2026, 10, 1), reason="goodwill", by=by)
        assert shown(household, date(2026, 10, 1)) == [(OCTOBER, "40.00", ""), (NOVEMBER, "10.00", "")]
        assert sound()

    def test_a_debt_written_off_is_in_no_part(self, agreed, fee, household, by):
        services.write_off(charge=fee, amount=as_amount(70), on=NOW, reason="hardship", by=by)
        assert parts(household) == [(SEPTEMBER, as_amount(40))]

    def test_a_repayment_that_the_bank_returned_pays_the_last_parts(self, household, owe, receive, child, by):
        receive(20)
        repaid = services.repay_credit(household=household, amount=as_amount(20), on=NOW, by=by)
        owe(110, person=child)
        both = [(SEPTEMBER, as_amount(80)), (OCTOBER, as_amount(30))]
        services.agree_parts(household=household, parts=both, on=NOW, by=by)
        services.take_repayment_back(repayment=repaid, on=NOW, reason="no such account", by=by)
        assert parts(household) == [(SEPTEMBER, as_amount(80)), (OCTOBER, as_amount(10))]
        assert sound()

    def test_where_nothing_is_owed_none_stands(self, agreed, fee, household, by):
        services.take_back(charge=fee, on=NOW, reason="place withdrawn", by=by)
        assert parts(household) == []
        assert sound()

    def test_a_credit_of_something_that_is_in_no_part_leaves_it_alone(self, agreed, owe, household, by):
        kit = owe(60)
        services.credit_charge(charge=kit, on=NOW, reason="came back", by=by)
        assert Arrangement.objects.get() == agreed


class TestWhatWasPaid:
    def test_what_came_before_the_family_agreed_pays_no_part(self, owe, household, receive, by):
        owe(110)
        receive(10)
        both = [(SEPTEMBER, as_amount(50)), (OCTOBER, as_amount(50))]
        services.agree_parts(household=household, parts=both, on=NOW, by=by)
        receive(45)
        assert [state for *_, state in shown(household, date(2026, 10, 5))] == ["overdue", ""]
