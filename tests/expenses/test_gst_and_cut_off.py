"""The GST in what volunteers bought, and the year that a purchase belongs to."""

import uuid
from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.expenses import services
from clubdesk.expenses.closing import CUT_OFF
from clubdesk.expenses.models import Expense
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Fund, Role, TaxBasis
from clubdesk.ledger.selectors import account, balance_of, entries_of
from clubdesk.money import as_amount, gst_in
from clubdesk.yearend import checklist, gst
from tests import factories, families

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
JUNE, JULY = date(2027, 6, 20), date(2027, 7, 9)


@pytest.fixture
def registered(by):
    ledger.register_for_gst(since=date(2026, 7, 1), basis=TaxBasis.CASH, by=by)


@pytest.fixture
def bought(by):
    """A volunteer bought something: `bought("110.00", tax="10.00")`."""

    def buys(amount="110.00", tax=None, of=None, fund="general", spent_on=NOW, home=None):
        return services.record_expense(
            household=home or factories.HouseholdFactory(), what="Target faces", amount=as_amount(amount),
            spent_on=spent_on, account=of or Account.objects.get(code="5040"), fund=Fund.objects.get(code=fund),
            evidence=Evidence(uuid.uuid4().bytes, "application/pdf"), tax=as_amount(tax) if tax else None, by=by,
        )  # fmt: skip

    return buys


def clean():
    assert [result for result in check_all() if result.faults] == []


def test_the_gst_that_a_bill_names_is_no_expense(registered, bought, approver, by):
    spent = services.approve_expense(expense=bought(tax="10.00"), on=NOW, by=approver)
    found = entries_of(spent).get().postings.order_by("pk").values_list("account__role", "account__code", "amount")
    assert [(role or code, str(amount.amount)) for role, code, amount in found] == [
        ("5040", "100.00"), ("gst_paid", "10.00"), ("other_payables", "-110.00"),
    ]  # fmt: skip
    clean()
    assert str(gst.figures(date(2026, 7, 1), NOW, TaxBasis.ACCRUALS).credits.amount) == "10.00"
    assert str(gst.figures(date(2026, 7, 1), NOW, TaxBasis.CASH).credits.amount) == "0.00", "it was not paid yet"
    services.pay_expense(expense=spent, on=NOW, by=by)
    assert str(gst.figures(date(2026, 7, 1), NOW, TaxBasis.CASH).credits.amount) == "10.00"
    with pytest.raises(IntegrityError, match="stays as it is"), transaction.atomic():
        connection.cursor().execute("UPDATE expenses_expense SET tax = 0")


def test_equipment_stands_at_its_cost_without_the_gst(registered, bought, approver):
    services.approve_expense(expense=bought("330.00", "30.00", account(Role.EQUIPMENT)), on=NOW, by=approver)
    assert (balance_of(Role.EQUIPMENT), balance_of(Role.GST_PAID)) == (300, 30)
    clean()


@pytest.mark.parametrize(
    ("amount", "tax", "fund", "why"),
    [
        ("110.00", "10.06", "general", r"no more than \$10.00 is GST"),
        ("110.00", "10.00", "entry", "holds money only"),
    ],
)
def test_what_cannot_be_gst_is_refused(registered, bought, amount, tax, fund, why):
    """Each line of a bill may be rounded by itself (GST Act, s 9-90), hence the five cents."""
    with pytest.raises(Refused, match=why):
        bought(amount, tax, fund=fund)
    assert bought("1.80", "0.18").tax == as_amount("0.18")


def test_the_page_says_from_which_price_a_tax_invoice_is_needed(registered, client, treasurer):
    """More than 75.00 without the GST. Source: GST Act, s 29-80; Explanatory Memorandum to 2010 No. 2 Bill, 3.3."""
    client.force_login(treasurer)
    assert "above $82.50 by tax invoice" in client.get(reverse("admin:expenses_expense_add")).content.decode()
    assert as_amount("82.50") - gst_in(as_amount("82.50")) == as_amount(75)


def test_a_club_that_is_not_registered_gets_none_back(bought):
    with pytest.raises(Refused, match="not registered for GST on 12 Sep 2026"):
        bought(tax="10.00")


def test_who_decides_may_put_the_gst_right(registered, bought, approver, client):
    spent = bought(tax="10.00")
    client.force_login(approver)
    page = reverse("admin:expenses_expense_approve", args=[spent.pk])
    form = client.get(page).context["form"]
    assert str(form["tax"].value()) == "10.00"
    sent = {**{name: form[name].value() for name in form.fields}, "tax": "", "on": NOW}
    assert client.post(page, sent).status_code == 302
    assert balance_of(Role.GST_PAID) == 0
    clean()


@pytest.fixture
def next_year(by):
    with clock.on(JULY):
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        yield FinancialYear.objects.earliest("first_day")


def cut_off(year):
    return next(item.said for item in checklist.of_year(year) if item.title == CUT_OFF)


def test_what_was_bought_in_a_year_is_its_expense_though_it_is_decided_later(next_year, bought, approver, client):
    """Accrual basis: AASB 101, paragraph 27 (from memory)."""
    spent, other = bought(spent_on=JUNE), bought(spent_on=JUNE)
    client.force_login(approver)
    form = client.get(reverse("admin:expenses_expense_approve", args=[spent.pk])).context["form"]
    assert form["posted_on"].value() == date(2027, 6, 30)
    services.approve_expense(expense=spent, on=JULY, by=approver)
    assert entries_of(spent).get().date == date(2027, 6, 30)
    assert cut_off(next_year) == "All of the year’s are posted in it."
    services.approve_expense(expense=other, on=JULY, posted_on=JULY, by=approver)
    assert cut_off(next_year) == "Bought by 30 Jun 2027 and posted after it, $110.00: Target faces, 20 Jun 2027."
    clean()


def test_where_that_year_is_locked_to_its_end_it_is_posted_as_it_is_decided(next_year, bought, approver, by):
    spent = bought(spent_on=JUNE)
    ledger.lock_month(month_end=date(2027, 5, 31), reason="a test", by=by)
    services.approve_expense(expense=bought(spent_on=JUNE), on=JULY, by=approver)
    ledger.lock_month(month_end=date(2027, 6, 30), reason="a test", by=by)
    assert entries_of(services.approve_expense(expense=spent, on=JULY, by=approver)).get().date == JULY
    assert cut_off(next_year).startswith("Bought by 30 Jun 2027 and posted after it")


def test_it_is_dated_between_its_purchase_and_its_decision(next_year, bought, approver):
    spent = bought(spent_on=JUNE)
    for day in (date(2027, 6, 19), date(2027, 7, 10)):
        with pytest.raises(Refused, match="It is dated between 20 Jun 2027, when it was bought, and 9 Jul 2027"):
            services.approve_expense(expense=spent, on=JULY, posted_on=day, by=approver)


@pytest.fixture
def several(next_year, bought, approver):
    """Two bought in the year that has ended, one in this one, and one of the approver's own family."""
    home = factories.HouseholdFactory()
    families.belongs(approver, home)
    own = bought("70.00", spent_on=JUNE, home=home)
    return [bought(spent_on=JUNE), bought("55.00", spent_on=JUNE), bought("20.00", spent_on=JULY), own]


SEVERAL = "admin:expenses_expense_approve-several"


def sent(client, **other):
    form = client.get(reverse(SEVERAL)).context["form"]
    ticked = form["expenses"].value()
    answer = {"expenses": ticked, "on": JULY, "in_their_year": "on", "key": uuid.uuid4(), **other}
    return client.post(reverse(SEVERAL), answer, follow=True)


def days_in_the_books(expenses):
    return [entries_of(each).get().date for each in expenses]


def test_several_are_approved_at_once_each_in_the_year_that_it_was_bought_in(several, client, approver):
    client.force_login(approver)
    assert "Approve several expenses" in client.get(reverse("admin:expenses_expense_changelist")).content.decode()
    page = client.get(reverse(SEVERAL)).content.decode()
    assert "Ticked here: 3, $185.00 in all. 2 of them, $165.00, with the last day of the year" in page
    assert page.count("in the books on 30 Jun 2027") == 3, "the approver’s own waits too"
    assert "Approved: 3, $185.00 in all." in sent(client).content.decode()
    assert days_in_the_books(several[:3]) == [date(2027, 6, 30), date(2027, 6, 30), JULY]
    several[3].refresh_from_db()
    assert several[3].state == "recorded", "it pays the approver’s own family"
    clean()


def test_whoever_would_rather_dates_them_as_they_were_decided(several, client, approver):
    client.force_login(approver)
    sent(client, in_their_year="")
    assert days_in_the_books(several[:3]) == [JULY] * 3
    clean()


def test_one_that_cannot_be_approved_holds_back_none_of_the_others(several, bought, client, approver):
    beyond = bought("5.00", fund="entry", spent_on=JULY)
    client.force_login(approver)
    told = sent(client, expenses=[several[0].pk, several[3].pk, beyond.pk]).content.decode()
    assert "Approved: 1, $110.00 in all. Not approved:" in told
    assert f"You belong or belonged to {several[3].household}; somebody else must decide" in told
    assert "Entry fund" in told
    states = [Expense.objects.get(pk=each.pk).state for each in (several[0], several[3], beyond)]
    assert states == ["approved", "recorded", "recorded"]
    clean()


def test_where_none_can_be_approved_the_page_says_why(several, client, approver, by):
    client.force_login(approver)
    again = sent(client, expenses=[several[3].pk])
    assert (again.status_code, "somebody else must decide" in again.content.decode()) == (422, True)
    services.approve_expense(expense=several[0], on=JULY, by=approver)
    late = sent(client, expenses=[several[0].pk, several[1].pk])
    assert "Some were decided meanwhile" in late.content.decode()
    with pytest.raises(Refused, match="It was decided already"):
        services.approve_expenses(expenses=[several[0]], on=JULY, by=approver)
    with pytest.raises(Refused, match="You recorded this"):
        services.approve_expenses(expenses=[several[1]], on=JULY, by=by)


def test_the_page_asks_no_more_of_many_than_of_few(several, bought, client, approver, django_assert_max_num_queries):
    client.force_login(approver)
    with CaptureQueriesContext(connection) as few:
        client.get(reverse(SEVERAL))
    for _ in range(6):
        bought(spent_on=JUNE)
    with django_assert_max_num_queries(len(few)):
        client.get(reverse(SEVERAL))
