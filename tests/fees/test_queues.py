"""Whoever changes a family's account waits in its queue: what each verb holds, in order, before it posts.

First the household, then the document, then the book: two that hold in one order never wait for each other.
"""

from datetime import date

import pytest

from clubdesk.fees import services
from clubdesk.fees.models import FeeKind, Method
from clubdesk.fees.services import paying_back
from clubdesk.ledger.models import Role
from clubdesk.money import as_amount
from tests import factories
from tests.locks import asked, held

pytestmark = pytest.mark.django_db
NOW, LATER = date(2026, 9, 12), date(2026, 10, 4)
TEN = as_amount(10)


@pytest.fixture
def household(book):
    return factories.HouseholdFactory()


@pytest.fixture
def child(household):
    return factories.PersonFactory(household=household)


@pytest.fixture
def owe(household, child, by):
    price = factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)

    def charged(starts_on=NOW):
        return services.charge(household=household, person=child, price=price, on=NOW, starts_on=starts_on, by=by)

    return charged


@pytest.fixture
def holds():
    """What an act holds, and what it returns; nothing is read before the first is held."""

    def found(act, *expected, reads_before=0):
        with asked() as lines:
            done = act()
        assert held(lines) == list(expected)
        assert all(line.startswith("hold ") for line in lines[reads_before : reads_before + 1])
        return done

    return found


@pytest.fixture
def day(by):
    return {"on": NOW, "by": by}


def test_what_a_family_owes(holds, owe, household, day):
    fee = holds(owe, "Household", "Book")
    document = holds(
        lambda: services.write_off(charge=fee, amount=TEN, reason="moved", **day), "Household", "Charge", "Book"
    )
    holds(
        lambda: services.take_up_again(write_off=document, reason="paid", **day),
        "Household", "Charge", "WriteOff", "Book", "Book", reads_before=2,
    )  # fmt: skip
    holds(lambda: services.credit_charge(charge=fee, amount=TEN, reason="ill", **day), "Household", "Charge", "Book")
    arrangement = holds(
        lambda: services.agree_parts(household=household, parts=[(NOW, as_amount(50))], **day), "Household"
    )
    holds(lambda: services.end_arrangement(arrangement=arrangement, **day), "Household")
    holds(lambda: services.take_back(charge=fee, reason="ill", **day), "Household", "Charge", "Charge", "Book")
    holds(
        lambda: services.charge_again(
            charge=owe(), starts_on=LATER, description="October", reason="flood", **day
        ),
        "Household", "Book", "Household", "Charge", "Voucher by pk", "Charge", "Book", "Book",
    )  # fmt: skip
    holds(
        lambda: services.bring_in_balances(items=[factories.open_item(household, 10)], by=day["by"]),
        "Household by pk", "Book", "Book",
    )  # fmt: skip


def test_what_becomes_income(holds, owe, by):
    first = owe(LATER)
    holds(lambda: services.move_start(charge=first, starts_on=LATER), "Charge")
    holds(lambda: services.recognise(charge=first, by=by), "Charge", "Book", "Book")
    owe(LATER), owe(LATER)
    holds(
        lambda: services.recognise_due(on=LATER, by=by),
        "Charge by pk", "Charge", "Book", "Book", "Charge", "Book", "Book", reads_before=1,
    )  # fmt: skip


def test_what_a_family_pays(holds, owe, household, day, by):
    def receive():
        return services.record_receipt(household=household, amount=TEN, method=Method.CARD, **day)

    receipt = holds(receive, "Household", "Book", "Book")
    holds(lambda: services.pay_with(receipt=receipt, charges=[], **day), "Household", "Receipt", "Book")
    repaid = holds(lambda: services.repay_credit(household=household, amount=TEN, **day), "Household", "Book")
    holds(
        lambda: services.take_repayment_back(repayment=repaid, reason="unknown", **day),
        "Household", "Repayment", "Book", "Book",
    )  # fmt: skip
    holds(
        lambda: services.cancel_receipt(receipt=receipt, reason="mistyped", **day),
        "Household", "Receipt", "Book", "Book",
    )  # fmt: skip
    expense = factories.expense(by, household)
    holds(lambda: paying_back.locked(expense), "Expense")


def test_what_a_voucher_pays(holds, owe, day):
    scheme = factories.scheme([(2026, "20.00")])
    fee = owe()

    def accept():
        return services.accept_voucher(scheme=scheme, charge=fee, code="SV1", **day)

    voucher = holds(accept, "Household", "Book")
    holds(lambda: services.release_voucher(voucher=voucher, reason="typed", **day), "Household", "Voucher", "Book")
    voucher = accept()
    in_order = ("Household by pk", "Charge by pk", "Voucher by pk", "Voucher")
    holds(lambda: services.refuse_voucher(voucher=voucher, reason="used", **day), *in_order, "Book", reads_before=1)
    voucher = accept()
    lodgement = holds(lambda: services.lodge_vouchers(scheme=scheme, **day), "VoucherScheme", "Voucher by pk")
    holds(
        lambda: services.answer_lodgement(lodgement=lodgement, paid={voucher.pk: TEN}, refused={}, **day),
        "Lodgement", *in_order, "Book", "Book",
    )  # fmt: skip
