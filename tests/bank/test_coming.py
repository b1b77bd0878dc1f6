"""What is due in and out in the weeks ahead, by week: the figures worked out by hand from what each test sets up."""

from datetime import date, timedelta

import pytest

from clubdesk.bank.coming import weeks
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.expenses import services as expenses
from clubdesk.fees import services as fees
from clubdesk.fees.models import VoucherScheme
from clubdesk.ledger.models import Book
from clubdesk.money import as_amount
from tests import factories

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


def told():
    return [(line.words, line.figure, line.note) for line in weeks(NOW)]


@pytest.fixture
def charged(book, by):
    """Fees are to be paid within 14 days."""
    Book.objects.update(pay_days=14)
    price = factories.price()

    def charge(amount="126.00", days_ago=0, **more):
        on = NOW - timedelta(days=days_ago)
        home = more.pop("household", None) or factories.HouseholdFactory()
        return fees.charge(household=home, price=price, amount=as_amount(amount), on=on, starts_on=on, by=by, **more)

    return charge


def test_nothing_is_due_in_an_empty_book(book):
    assert told() == []


def test_a_fee_is_due_in_its_week_and_one_that_is_overdue_in_none(charged):
    charged("126.00")
    charged("50.00", days_ago=10)
    charged("70.00", days_ago=30)
    assert told() == [
        ("By 18 Sep 2026", "$50.00", "In $50.00 fees charged."),
        ("By 2 Oct 2026", "$126.00", "In $126.00 fees charged."),
    ]


def test_a_family_that_pays_in_parts_is_counted_by_what_is_left_of_these_alone(charged, by):
    home = charged("90.00").household
    days = (NOW + timedelta(days=3), NOW + timedelta(days=17), NOW + timedelta(days=80))
    fees.agree_parts(household=home, parts=[(day, as_amount(30)) for day in days], on=NOW, by=by)
    assert told() == [
        ("By 18 Sep 2026", "$30.00", "In $30.00 parts that families agreed on."),
        ("By 2 Oct 2026", "$30.00", "In $30.00 parts that families agreed on."),
    ]


@pytest.mark.parametrize(("promise", "words"), [(20, "By 2 Oct 2026"), (None, "No day set")])
def test_a_voucher_claim_is_due_by_the_departments_promise(charged, by, promise, words):
    scheme = factories.scheme()
    VoucherScheme.objects.filter(pk=scheme.pk).update(promise_days=promise)
    child = factories.PersonFactory(birth_date=date(2014, 5, 1))
    charge = charged("126.00", days_ago=60, person=child, household=child.household)
    fees.accept_voucher(scheme=scheme, charge=charge, code="SV12345678", birth_date=child.birth_date, on=NOW, by=by)
    fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)
    assert told() == [(words, "$100.00", "In $100.00 vouchers claimed.")]


def test_what_is_approved_and_in_no_run_has_no_day(book, by, approver):
    entryfund.cash_in(containers=1000, amount=as_amount(100), paid_into=PaidInto.BANK, on=NOW, by=by)
    expenses.approve_expense(expense=factories.expense(by, amount="25.50"), on=NOW, by=approver)
    assert told() == [("No day set", "−$25.50", "Out $25.50 expenses approved.")]


def test_home_shows_it_to_the_treasurer(client, charged, treasurer):
    charged("126.00")
    client.force_login(treasurer)
    page = client.get("/").content.decode()
    assert "Due in and out" in page
    assert "In $126.00 fees charged." in page


def test_a_payment_run_goes_out_in_the_week_of_its_day(run):
    """60.00 of a refund, 25.50 of an expense and 40.00 of a credit; nothing of them waits outside of it."""
    assert [line.figure for line in weeks(NOW)] == ["−$125.50"]
    assert [line.note for line in weeks(NOW)] == ["Out $125.50 payment runs."]
