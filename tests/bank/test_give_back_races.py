"""Giving a voucher back is undone beside a payment run that would pay it: the one or the other, never both."""

from datetime import date
from decimal import Decimal

import pytest

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount, PaymentItem, PaymentRun
from clubdesk.bank.services import givingback
from clubdesk.errors import Refused
from clubdesk.fees import selectors, services
from clubdesk.fees.models import GiveBack, Method, Voucher
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from tests import factories
from tests.fees.conftest import AS_ASKED, BACK, LEFT, NOW, PAID
from tests.sessions import beside

pytestmark = pytest.mark.django_db(transaction=True)
IN_A_RUN, UNDONE = (1, "approved", "returned", Decimal("-100.00")), (0, "undone", "paid", Decimal("0.00"))


@pytest.fixture
def back(book, by):
    """A paid voucher of 100.00 that is owed back whole, since its child left."""
    clock.set_today(date(2026, 10, 10))
    child = factories.PersonFactory()
    charge = services.charge(
        household=child.household, person=child, price=factories.price(), on=NOW, starts_on=NOW, by=by
    )
    services.record_receipt(household=child.household, amount=charge.amount, method=Method.CARD, on=NOW, by=by)
    scheme = factories.scheme()
    voucher = services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
    services.record_lodgement_paid(lodgement=services.lodge_vouchers(scheme=scheme, on=NOW, by=by), on=PAID, by=by)
    services.take_back(charge=charge, on=LEFT, reason="left", by=by)
    return services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)


@pytest.fixture
def run(back, by):
    account = BankAccount.objects.get()

    def made():
        return bank.make_run(bank_account=account, method="single", pay_on=BACK, on=BACK, by=by, give_backs=[back])

    return made


@pytest.fixture
def undo(back, by):
    def undone():
        return bank.undo_give_back(back=GiveBack.objects.get(pk=back.pk), on=BACK, reason="their mistake", by=by)

    return undone


def outcome():
    """How many payments there are, what became of the voucher and its giving back, and what the club owes for it."""
    assert [each for result in check_all() for each in result.faults] == []
    found = GiveBack.objects.get(), Voucher.objects.get(), balance(Role.OTHER_PAYABLES, BACK)
    return PaymentItem.objects.count(), found[0].state, found[1].state, found[2]


def kinds(results):
    return [type(each) for each in results]


def test_undone_while_a_run_is_made_it_stands_in_the_run(back, run, undo):
    results = beside(run, undo, before=(PaymentItem.objects, "bulk_create"))
    assert kinds(results) == [PaymentRun, Refused]
    assert "remove it from that first" in results[1].sentence
    assert outcome() == IN_A_RUN


def test_put_into_a_run_while_it_is_undone_it_is_not_paid(back, run, undo):
    results = beside(undo, run, before=(givingback, "undo_giving_back"))
    assert kinds(results) == [GiveBack, Refused]
    assert outcome() == UNDONE
    assert selectors.payable_credit(back.household) == back.credit.charge.amount


def test_undone_by_two_at_once_it_is_undone_once(back, undo):
    results = beside(undo, undo, before=(givingback, "undo_giving_back"))
    assert kinds(results) == [GiveBack, GiveBack]
    assert outcome() == UNDONE


def test_paid_by_hand_while_it_is_undone_it_is_one_of_both(back, undo, by):
    results = beside(
        undo,
        lambda: services.pay_give_back(back=GiveBack.objects.get(pk=back.pk), on=BACK, by=by),
        before=(givingback, "undo_giving_back"),
    )
    assert kinds(results) == [GiveBack, Refused]
    assert outcome() == UNDONE
