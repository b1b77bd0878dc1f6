"""GST, where the club is registered: its returns, what is found later; and not a trace of it where it is not."""

import uuid
from datetime import date

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeItem, FeeKind, Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Book, FinancialYear, Fund, Role, TaxBasis
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account, balance, balance_of, entries_of, gst_turnover
from clubdesk.money import as_amount, gst_in
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.yearend import checklist, found, gst, services
from clubdesk.yearend.closing import TAXED
from clubdesk.yearend.models import GstReturn
from tests import factories
from tests.reports import bridge

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 7, 1), date(2026, 9, 30)
ACCRUALS, CASH = TaxBasis.ACCRUALS, TaxBasis.CASH


@pytest.fixture
def register(by):
    """The club registers: `register(CASH)`."""

    def registers(basis=ACCRUALS, since=FIRST):
        return ledger.register_for_gst(since=since, basis=basis, by=by)

    return registers


@pytest.mark.parametrize(
    ("price", "tax"),
    [("110.00", "10.00"), ("228.00", "20.73"), ("7.00", "0.64"), ("0.05", "0.00"), ("0.06", "0.01"), ("15.00", "1.36")],
)
def test_it_is_an_eleventh_to_the_nearest_cent(price, tax):
    """Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth), 1/11 of the price; s 9-90, nearest cent."""
    assert gst_in(as_amount(price)) == as_amount(tax)


@pytest.fixture
def family(book):
    return factories.HouseholdFactory()


@pytest.fixture
def quarter(by, family):
    """A course and hire with GST, a membership that is GST-free, a bill with GST and one without, written by hand."""

    def happens():
        on = date(2026, 7, 5)
        course = factories.price()
        free = factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS)
        factories.hire()
        FeeItem.objects.exclude(kind=FeeKind.MEMBERSHIP).update(tax_code="taxable")
        FeeItem.objects.filter(kind=FeeKind.MEMBERSHIP).update(tax_code="free")
        Account.objects.filter(code="5070").update(tax_code="taxable")
        for price in (course, free):
            price.item.refresh_from_db()
        charged = fees.charge(household=family, price=course, on=on, starts_on=on, by=by)
        fees.charge(household=family, price=course, on=on, starts_on=date(2026, 10, 4), by=by)
        fees.charge(household=family, price=free, on=on, starts_on=on, by=by)
        fees.credit_charge(charge=charged, amount=as_amount(26), on=date(2026, 8, 1), reason="came late", by=by)
        rangeday.sign_on(
            range_day=factories.range_day(), visitor_name="Ann", visitor_guardian="Bo", visitor_phone="1",
            gear=Gear.VISITOR, paid=Paid.CASH, by=by,
        )  # fmt: skip
        for code, amount in (("5070", "60.00"), ("5050", "99.00")):
            bill(by, account_coded(code), amount, on)

    return happens


def account_coded(code):
    return Account.objects.get(code=code)


def bill(by, of, amount, on, fund=None):
    lines = [debit(of, as_amount(amount)), credit(Role.BANK, as_amount(amount))]
    return ledger.record_journal(on=on, narration=f"Bill of {amount}", lines=lines, by=by)


def told(figures):
    return [str(each.amount) for each in (figures.collected, figures.credits, figures.payable)]


def stands(*roles):
    return [str(-balance_of(role)) for role in roles]


def clean():
    assert [result for result in check_all() if result.faults] == []


def test_the_club_registers_from_a_day_by_a_command_and_its_chart_has_the_accounts(book):
    for _ in range(2):
        call_command("register_gst", "2026-07-01", basis="cash")
    made = Account.objects.filter(role__in=("gst", "gst_collected", "gst_paid"))
    assert [(each.code, each.kind, each.name) for each in made.order_by("code")] == [
        ("1130", "asset", "GST paid"),
        ("2300", "liability", "GST owed"),
        ("2310", "liability", "GST collected"),
    ]
    assert (Book.objects.get().gst_from, Book.objects.get().gst_basis) == (FIRST, CASH)
    with pytest.raises(SystemExit, match="1"):
        call_command("register_gst", "2026-07-01", basis="other")


def test_a_mistyped_day_is_put_right_until_gst_was_posted(register, quarter):
    register(since=date(2025, 7, 1))
    register()
    quarter()
    with pytest.raises(Refused, match="is registered from 1 Jul 2026, and tax was posted since"):
        register(since=date(2026, 7, 2))
    assert register(CASH).gst_basis == CASH


def test_the_club_registers_on_a_page(client, treasurer):
    client.force_login(treasurer)
    form = {"key": uuid.uuid4(), "since": "2026-07-01", "basis": "cash"}
    assert client.post(reverse("admin:ledger_financialyear_gst"), form).status_code == 302
    assert Book.objects.get().gst_from == FIRST


def test_the_page_says_how_near_the_club_is_to_having_to_register(client, treasurer, by):
    """From 150,000 of memberships and entry fees, gifts left out. Source: GST Act, s 23-15; ATO, 1051611840184."""
    for role, amount, on in (
        (Role.MEMBERSHIPS, "100000.00", date(2026, 7, 1)),
        (Role.COURSES, "49999.99", date(2026, 9, 12)),
        (Role.DONATIONS, "5000.00", date(2026, 9, 12)),
        (Role.INTEREST, "70.00", date(2026, 9, 12)),
    ):
        lines = [debit(Role.BANK, as_amount(amount)), credit(role, as_amount(amount))]
        ledger.record_journal(on=on, narration="Earned", lines=lines, by=by)
    client.force_login(treasurer)
    page = client.get(reverse("admin:ledger_financialyear_gst")).content.decode()
    assert "149,999.99" in page
    assert "150,000.00" in page
    assert gst_turnover(date(2027, 7, 1)) == as_amount("49999.99").amount, "a year later July's is no longer in it"


def test_the_return_by_charge_and_bill_is_posted_once(register, quarter, by):
    """11.45 + 11.45 - 2.36 of courses and 1.36 of a visitor; the bill written by hand is found, 5.45."""
    register()
    quarter()
    clean()
    services.post_found_tax(until=LAST, by=by)
    assert told(gst.figures(FIRST, LAST, ACCRUALS)) == ["21.90", "5.45", "16.45"]
    done = services.post_gst(first=FIRST, last=LAST, by=by)
    assert stands(Role.GST, Role.GST_COLLECTED, Role.GST_PAID) == ["16.45", "0.00", "0.00"]
    assert balance(Role.VISITORS, LAST) == as_amount("-13.64").amount
    with pytest.raises(Refused, match="No sale and no bill"):
        services.post_gst(first=FIRST, last=date(2026, 10, 1), by=by)
    with pytest.raises(IntegrityError, match="period of GST keeps what the ledger says"), transaction.atomic():
        connection.cursor().execute("UPDATE yearend_gstreturn SET collected = 100")
    assert bridge.gaps(FIRST, LAST) == []
    clean()
    ledger.undo_entries_of(document=done.journal, on=LAST, reason="a bill was missing", by=by)
    services.post_gst(first=FIRST, last=LAST, by=by)
    assert stands(Role.GST) == ["16.45"]
    clean()


def test_what_each_fee_sold_is_less_what_was_credited_of_it_in_those_days(register, quarter):
    """Two places at 126.00, of which 26.00 was credited in August; GST an eleventh of each, rounded by itself."""
    register()
    quarter()

    def sold(first, last):
        found = gst.sales(first, last)
        return {item.kind: tuple(map(str, figures)) for item, figures in found.items()}

    july, august = (date(2026, 7, 31), date(2026, 8, 1))
    assert sold(FIRST, july) == {"course": ("252.00", "22.90"), "membership": ("228.00", "0.00")}
    assert sold(august, date(2026, 8, 31)) == {"course": ("-26.00", "-2.36")}
    assert sold(FIRST, LAST)["course"] == ("226.00", "20.54")


def test_days_that_are_in_a_return_are_in_no_other(register, quarter, by):
    register()
    quarter()
    services.post_gst(first=FIRST, last=LAST, by=by)
    bill(by, account_coded("5070"), "11.00", date(2026, 9, 12))
    services.post_found_tax(until=LAST, by=by)
    with pytest.raises(IntegrityError, match="GST of some of these days is posted already"), transaction.atomic():
        services.post_gst(first=date(2026, 9, 1), last=LAST, by=by)
    with pytest.raises(Refused, match="draw the returns in their order"):
        services.post_gst(first=FIRST, last=date(2026, 8, 31), by=by)
    later = services.post_gst(first=date(2026, 10, 1), last=date(2026, 12, 31), by=by)
    assert told(later) == ["0.00", "6.45", "-6.45"], "what came late is in the next return"


def test_on_the_cash_basis_a_return_holds_what_was_paid(register, quarter, family, by):
    """Source: GST Act, s 29-5(2) and s 29-10(2): as far as the consideration was received or provided in the period."""
    register(CASH)
    quarter()
    assert told(gst.figures(FIRST, LAST, CASH)) == ["1.36", "0.00", "1.36"], "the visitor's alone"
    pay = {"household": family, "method": Method.TRANSFER, "by": by}
    fees.record_receipt(amount=as_amount(50), on=date(2026, 9, 1), **pay)
    assert str(gst.figures(FIRST, LAST, CASH).collected.amount) == "5.91", "and 50/100 of $9.09, half a cent up"
    services.post_gst(first=FIRST, last=LAST, by=by)
    fees.record_receipt(amount=as_amount(404), on=date(2026, 10, 1), **pay)
    later = gst.figures(date(2026, 10, 1), date(2026, 12, 31), CASH)
    assert str(later.collected.amount) == "15.99", "21.90 in all"
    assert str(gst.figures(FIRST, LAST, ACCRUALS).collected.amount) == "15.99", "another basis takes up what is left"
    clean()


def test_the_gst_of_vouchers_is_collected_in_cash_when_the_department_pays(register, by):
    register(CASH)
    plan, child = factories.plan(), factories.PersonFactory()
    FeeItem.objects.update(tax_code="taxable")
    plan.fee_item.refresh_from_db()
    price = plan.fee_item.prices.get()
    charge = fees.charge(household=child.household, person=child, price=price, on=LAST, starts_on=LAST, by=by)
    scheme = factories.scheme()
    fees.accept_voucher(scheme=scheme, charge=charge, code="V1", on=LAST, by=by)
    lodged = fees.lodge_vouchers(scheme=scheme, on=LAST, by=by)
    assert told(gst.figures(FIRST, LAST, CASH))[0] == "0.00"
    fees.record_lodgement_paid(lodgement=lodged, on=LAST, by=by)
    assert told(gst.figures(FIRST, LAST, CASH))[0] == "9.09"


def test_what_was_there_before_the_club_registered_here_is_found_and_posted_once(register, quarter, family, by):
    """Fees that started and one in advance, a credit, a sign-on, a debt written off and a bill, all posted whole."""
    quarter()
    charge = family.charges.order_by("pk").first()
    lost = fees.write_off(charge=charge, amount=as_amount(11), on=date(2026, 9, 1), reason="left", by=by)
    register()
    there = found.find(LAST)
    assert [str(each.amount) for each in (there.collected, there.credits)] == ["20.90", "5.45"]
    services.post_found_tax(until=LAST, by=by)
    assert stands(Role.GST_COLLECTED, Role.FEES_IN_ADVANCE) == ["20.90", "114.55"]
    assert stands(Role.COURSES, Role.VISITORS, Role.WRITTEN_OFF) == ["90.91", "13.64", "-10.00"]
    clean()
    with pytest.raises(Refused, match="All GST to 30 Sep 2026 is posted"):
        services.post_found_tax(until=LAST, by=by)
    fees.take_up_again(write_off=lost, on=date(2026, 9, 2), reason="they paid", by=by)
    fees.credit_charge(charge=charge, on=date(2026, 9, 3), reason="withdrawn", by=by)
    services.post_found_tax(until=LAST, by=by)
    assert stands(Role.GST_COLLECTED, Role.COURSES) == ["12.81", "0.00"], "11.45 in advance and $1.36"
    assert bridge.gaps(FIRST, LAST) == []
    clean()


def test_what_is_paid_at_the_range_for_a_fee_without_gst_lacks_none(register, by):
    register()
    factories.hire()
    rangeday.sign_on(
        range_day=factories.range_day(), visitor_name="Ann", visitor_guardian="Bo", visitor_phone="1",
        gear=Gear.VISITOR, paid=Paid.CASH, by=by,
    )  # fmt: skip
    assert found.find(LAST).lines() == []


def test_income_and_equipment_count_by_the_code_of_their_account(register, by):
    register()
    Account.objects.filter(role__in=(Role.DONATIONS, Role.EQUIPMENT)).update(tax_code="taxable")
    bill(by, account(Role.EQUIPMENT), "1100.00", date(2026, 8, 1))
    lines = [debit(Role.BANK, as_amount(55)), credit(Role.DONATIONS, as_amount(55))]
    ledger.record_journal(on=date(2026, 8, 2), narration="Sausage sizzle", lines=lines, by=by)
    gift = ledger.record_journal(on=date(2026, 8, 3), narration="A gift", lines=lines, by=by)
    services.post_found_tax(until=LAST, without=[entries_of(gift).get()], by=by)
    assert stands(Role.EQUIPMENT, Role.GST_PAID, Role.GST_COLLECTED) == ["-1000.00", "-100.00", "5.00"]
    assert not found.find(LAST).postings
    ledger.reverse_journal(journal=gift, on=LAST, reason="typed twice", by=by)
    assert not found.find(LAST).postings, "nothing was found in it, so nothing comes back"
    clean()


def test_equipment_that_is_sold_has_gst_in_what_came_for_it(register, by):
    register()
    Account.objects.filter(role=Role.EQUIPMENT).update(tax_code="taxable")
    lines = [
        debit(Role.EQUIPMENT, as_amount(300)),
        debit(Role.GST_PAID, as_amount(30)),
        credit(Role.BANK, as_amount(330)),
    ]
    ledger.record_journal(on=FIRST, narration="Bows", lines=lines, by=by)
    general = Fund.objects.get(code="general")
    bows = services.add_equipment(name="Bows", bought_on=FIRST, cost=as_amount(300), years=3, fund=general, by=by)
    services.dispose(equipment=bows, on=date(2026, 7, 2), reason="sold", proceeds=as_amount(110), by=by)
    assert stands(Role.GST_COLLECTED, Role.DISPOSALS) == ["10.00", "-200.00"]
    assert not found.find(LAST).postings
    clean()


def test_a_locked_month_and_a_closed_year_are_no_end_of_it(register, quarter, by):
    quarter()
    register()
    year = FinancialYear.objects.get()
    item = next(each for each in checklist.of_year(year) if each.title == TAXED)
    assert not item.done
    assert item.said == "$21.90 of GST in sales and $5.45 in bills are not posted yet."
    after = date(2027, 7, 3)
    with clock.on(after):
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        ledger.close_year(year=year, on=after, by=by)
        done = services.post_found_tax(until=year.last_day, by=by)
        assert done.posted_on == date(2027, 7, 1)
        assert next(each for each in checklist.of_year(year) if each.title == TAXED).done
        late = services.post_gst(first=date(2027, 7, 1), last=date(2027, 9, 30), by=by)
        assert told(late) == ["21.90", "5.45", "16.45"]
    clean()


def test_it_is_looked_at_and_posted_on_pages(register, client, treasurer, quarter):
    register()
    quarter()
    client.force_login(treasurer)
    asked = {"since": "2026-07-01", "until": "2026-09-30"}
    assert "21.90" in client.get(reverse("admin:gst_figures"), asked).content.decode()
    assert "not paid yet" in client.get(reverse("admin:gst_figures"), {**asked, "basis": "cash"}).content.decode()
    found_page = reverse("admin:yearend_gstreturn_found")
    assert "Bill of 60.00" in client.get(found_page).content.decode()
    assert client.post(found_page, {"key": uuid.uuid4(), "until": "2026-09-30"}).status_code == 302
    form = {"key": uuid.uuid4(), "first": "2026-07-01", "last": "2026-09-30"}
    client.post(reverse("admin:yearend_gstreturn_add"), form)
    client.post(reverse("admin:yearend_gstreturn_add"), form)
    assert GstReturn.objects.count() == 1
    assert client.post(reverse("admin:yearend_gstreturn_add"), {**form, "key": uuid.uuid4()}).status_code == 422


def test_a_club_that_is_not_registered_sees_nothing_of_it(client, treasurer, quarter, by):
    quarter()
    client.force_login(treasurer)
    pages = [reverse("admin:index"), reverse("admin:reports"), reverse("admin:ledger_account_changelist")]
    pages += [reverse("admin:ledger_account_change", args=[account_coded("5070").pk])]
    pages += [reverse("admin:fees_feeitem_add"), reverse("admin:closing", args=[2027])]
    pages += [reverse("admin:expenses_expense_add")]
    for url in pages:
        page = client.get(url)
        assert page.status_code == 200
        assert "GST" not in page.content.decode(), url
    assert client.get(reverse("admin:gst_figures")).status_code == 404
    assert client.get(reverse("admin:yearend_gstreturn_changelist")).status_code == 403
    for verb in (
        lambda: services.post_gst(first=FIRST, last=LAST, by=by),
        lambda: services.post_found_tax(until=LAST, by=by),
    ):
        with pytest.raises(Refused, match="not registered"):
            verb()
    assert not Account.objects.filter(role=Role.GST).exists()
