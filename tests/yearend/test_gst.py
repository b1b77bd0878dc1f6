"""GST, where the club is registered; and not a trace of it where it is not."""

import uuid
from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeItem, FeeKind
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount, gst_in, nil
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.yearend import gst, services
from clubdesk.yearend.models import GstReturn
from tests import factories
from tests.reports import bridge

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 7, 1), date(2026, 9, 30)


@pytest.fixture
def registered(settings):
    settings.CLUB_GST_FROM = date(2026, 7, 1)


@pytest.mark.parametrize(
    ("price", "tax"),
    [("110.00", "10.00"), ("228.00", "20.73"), ("7.00", "0.64"), ("0.05", "0.00"), ("0.06", "0.01"), ("15.00", "1.36")],
)
def test_it_is_an_eleventh_to_the_nearest_cent(price, tax):
    """Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth), 1/11 of the price; s 9-90, nearest cent."""
    assert gst_in(as_amount(price)) == as_amount(tax)


@pytest.fixture
def quarter(by):
    """A course and hire with GST, a membership that is GST-free, a bill with GST and one without."""
    home, on = factories.HouseholdFactory(), date(2026, 7, 5)
    course = factories.price()
    free = factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS)
    factories.hire()
    FeeItem.objects.exclude(kind=FeeKind.MEMBERSHIP).update(tax_code="taxable")
    FeeItem.objects.filter(kind=FeeKind.MEMBERSHIP).update(tax_code="free")
    Account.objects.filter(code="5070").update(tax_code="taxable")
    charged = fees.charge(household=home, price=course, on=on, starts_on=on, by=by)
    fees.charge(household=home, price=course, on=on, starts_on=date(2026, 10, 4), by=by)
    fees.charge(household=home, price=free, on=on, starts_on=on, by=by)
    fees.credit_charge(charge=charged, amount=as_amount(26), on=date(2026, 8, 1), reason="came late", by=by)
    rangeday.sign_on(
        range_day=factories.range_day(), visitor_name="Ann", visitor_guardian="Bo", visitor_phone="1",
        gear=Gear.VISITOR, paid=Paid.CASH, by=by,
    )  # fmt: skip
    for code, amount in (("5070", "60.00"), ("5050", "99.00")):
        lines = [debit(Account.objects.get(code=code), as_amount(amount)), credit(Role.BANK, as_amount(amount))]
        ledger.record_journal(on=on, narration="Bill", lines=lines, by=by)


def test_the_figures_of_a_period_by_fee_and_by_account(registered, quarter):
    found = gst.figures(FIRST, LAST)
    sales = {item.kind: (str(amount.amount), str(found.in_sales[item].amount)) for item, amount in found.sales.items()}
    assert sales == {
        "course": ("226.00", "20.54"),  # 11.45 + 11.45 - 2.36
        "membership": ("228.00", "0.00"),
        "visitor": ("15.00", "1.36"),
    }
    assert list(sales) == ["course", "membership", "visitor"], "in the order in which they were first charged"
    assert [str(amount.amount) for amount in (found.collected, found.credits, found.payable)] == [
        "21.90",
        "5.45",
        "16.45",
    ]


def test_it_is_posted_once_and_leaves_income_and_expense(registered, quarter, by):
    done = services.post_gst(first=FIRST, last=LAST, by=by)
    assert balance(Role.GST, LAST) == -done.payable.amount == as_amount("-16.45").amount
    assert balance(Role.VISITORS, LAST) == as_amount("-13.64").amount
    again = gst.figures(FIRST, LAST)
    assert (again.collected, again.credits) == (done.collected, done.credits)
    with pytest.raises(IntegrityError, match="GST of some of these days is posted already"), transaction.atomic():
        services.post_gst(first=date(2026, 9, 1), last=date(2026, 9, 30), by=by)
    with pytest.raises(IntegrityError, match="period of GST keeps what the ledger says"), transaction.atomic():
        connection.cursor().execute("UPDATE yearend_gstreturn SET collected = 100")
    assert bridge.gaps(FIRST, LAST) == []
    ledger.undo_entries_of(document=done.journal, on=LAST, reason="a bill was missing", by=by)
    services.post_gst(first=FIRST, last=LAST, by=by)
    assert balance(Role.GST, LAST) == as_amount("-16.45").amount
    assert [result for result in check_all() if result.faults] == []


def test_days_before_the_registration_do_not_count(settings, quarter):
    settings.CLUB_GST_FROM = date(2026, 8, 1)
    assert str(gst.figures(FIRST, LAST).collected.amount) == "-1.00"  # -2.36 + 1.36


@pytest.mark.parametrize(("since", "collected"), [(None, 0), (date(2026, 9, 12), "1.36"), (date(2026, 9, 13), 0)])
def test_on_the_day_of_its_registration_a_club_collects(settings, quarter, since, collected):
    """A visitor paid 15.00 on the last day that is asked for."""
    settings.CLUB_GST_FROM = since
    found = gst.figures(FIRST, date(2026, 9, 12))
    assert found.collected == as_amount(collected)
    assert found.credits == nil()


def test_it_is_looked_at_and_posted_on_pages(registered, client, treasurer, quarter):
    client.force_login(treasurer)
    page = client.get(reverse("admin:gst_figures"), {"since": "2026-07-01", "until": "2026-09-30"}).content.decode()
    assert "16.45" in page
    form = {"key": uuid.uuid4(), "first": "2026-07-01", "last": "2026-09-30"}
    client.post(reverse("admin:yearend_gstreturn_add"), form)
    client.post(reverse("admin:yearend_gstreturn_add"), form)
    assert GstReturn.objects.count() == 1
    assert client.post(reverse("admin:yearend_gstreturn_add"), {**form, "key": uuid.uuid4()}).status_code == 422


def test_a_club_that_is_not_registered_sees_nothing_of_it(client, treasurer, quarter, by):
    client.force_login(treasurer)
    pages = [reverse("admin:index"), reverse("admin:reports"), reverse("admin:ledger_account_changelist")]
    pages += [reverse("admin:ledger_account_change", args=[Account.objects.get(code="5070").pk])]
    pages += [reverse("admin:fees_feeitem_add")]
    for url in pages:
        page = client.get(url)
        assert page.status_code == 200
        assert "GST" not in page.content.decode(), url
    assert client.get(reverse("admin:gst_figures")).status_code == 404
    assert client.get(reverse("admin:yearend_gstreturn_changelist")).status_code == 403
    with pytest.raises(Refused, match="not registered"):
        services.post_gst(first=FIRST, last=LAST, by=by)
    assert not Account.objects.filter(role=Role.GST).exists()
