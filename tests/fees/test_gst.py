"""The GST in a fee: posted with it where the club is registered, and given back with it."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk.fees import services
from clubdesk.fees.models import FeeItem, FeeKind
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Role, TaxBasis
from clubdesk.ledger.selectors import balance, balance_of
from clubdesk.membership import services as membership
from clubdesk.money import as_amount, gst_in, total
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from tests import factories

pytestmark = pytest.mark.django_db
NOW, LATER = date(2026, 9, 12), date(2026, 10, 4)


@pytest.fixture
def registered(by):
    ledger.register_for_gst(since=date(2026, 7, 1), basis=TaxBasis.ACCRUALS, by=by)


@pytest.fixture
def taxed(household, by):
    """The family owes a fee with GST: `taxed(145)`."""

    def charged(amount, starts_on=NOW, shares=()):
        price = factories.price(amount=amount, code=f"fee {FeeItem.objects.count()}", shares=shares)
        FeeItem.objects.filter(pk=price.item_id).update(tax_code="taxable")
        price.item.refresh_from_db()
        return services.charge(household=household, price=price, on=NOW, starts_on=starts_on, by=by)

    return charged


def stands(*roles):
    """What the accounts stand at, as text, what was earned or is owed above zero."""
    return [str(-balance_of(role)) for role in roles]


def clean():
    assert [result for result in check_all() if result.faults] == []


@pytest.mark.parametrize(
    ("price", "tax"), [("145.00", "13.18"), ("228.00", "20.73"), ("7.00", "0.64"), ("1.80", "0.16"), ("0.60", "0.05")]
)
def test_a_fee_posts_its_gst_as_it_posts(registered, taxed, price, tax):
    """Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth), 1/11 of the price; s 9-90, half a cent up."""
    charge = taxed(price)
    assert stands(Role.GST_COLLECTED) == [tax]
    assert stands(Role.COURSES) == [str((charge.amount - as_amount(tax)).amount)]
    assert stands(Role.FEES_OWED) == [str(-as_amount(price).amount)], "what the family owes stays whole"
    clean()


def test_a_charges_page_shows_the_gst_in_it_once_the_club_is_registered(taxed, client, treasurer, by):
    client.force_login(treasurer)
    plain = client.get(reverse("admin:fees_charge_change", args=[taxed("145.00").pk])).content.decode()
    assert "GST in it" not in plain
    ledger.register_for_gst(since=date(2026, 7, 1), basis=TaxBasis.ACCRUALS, by=by)
    shown = client.get(reverse("admin:fees_charge_change", args=[taxed("145.00").pk])).content.decode()
    assert "GST in it" in shown
    assert "$13.18" in shown


def test_several_fees_are_rounded_each_by_itself(registered, taxed):
    """Source: the same, s 9-90: the total, 1.80/11 = 0.16, or each by itself, three times 0.05, may be rounded."""
    charges = [taxed("0.60") for _ in range(3)]
    assert stands(Role.GST_COLLECTED) == ["0.15"]
    assert gst_in(total(charge.amount for charge in charges)) == as_amount("0.16")


def test_a_fee_in_advance_leaves_income_alone_until_it_starts(registered, taxed, by):
    charge = taxed("145.00", starts_on=LATER)
    assert stands(Role.COURSES, Role.FEES_IN_ADVANCE, Role.GST_COLLECTED) == ["0.00", "131.82", "13.18"]
    clean()
    services.recognise(charge=charge, by=by)
    assert stands(Role.COURSES, Role.FEES_IN_ADVANCE, Role.GST_COLLECTED) == ["131.82", "0.00", "13.18"]
    clean()


@pytest.mark.parametrize("starts_on", [NOW, LATER])
def test_what_is_credited_gives_its_gst_back_to_the_cent_however_it_is_cut(registered, taxed, by, starts_on):
    charge = taxed("145.00", starts_on=starts_on)
    for amount in ("0.05", "0.05", "44.90"):
        services.credit_charge(charge=charge, amount=as_amount(amount), on=NOW, reason="came late", by=by)
    assert stands(Role.GST_COLLECTED) == ["9.09"]
    clean()
    services.credit_charge(charge=charge, on=NOW, reason="withdrawn", by=by)
    assert stands(Role.GST_COLLECTED, Role.COURSES, Role.FEES_IN_ADVANCE, Role.FEES_OWED) == ["0.00"] * 4
    clean()


def test_a_cent_may_be_credited_though_all_of_it_is_tax(registered, taxed, by):
    """One eleventh of 126.01 is 11.46 to the cent, and of 126.00 it is 11.45."""
    charge = taxed("126.01", starts_on=LATER)
    credit = services.credit_charge(charge=charge, amount=as_amount("0.01"), on=NOW, reason="came late", by=by)
    assert (credit.tax, stands(Role.GST_COLLECTED, Role.FEES_IN_ADVANCE)) == (as_amount("0.01"), ["11.45", "114.55"])
    clean()


def test_a_debt_written_off_is_not_taxed_until_it_is_expected_again(registered, taxed, by):
    """Source: the same Act, s 21-5, one eleventh of the amount written off."""
    charge = taxed("145.00")
    lost = services.write_off(charge=charge, amount=as_amount(100), on=NOW, reason="moved away", by=by)
    assert stands(Role.GST_COLLECTED, Role.WRITTEN_OFF) == ["4.09", "-90.91"]
    clean()
    services.take_up_again(write_off=lost, on=NOW, reason="they paid", by=by)
    assert stands(Role.GST_COLLECTED, Role.WRITTEN_OFF) == ["13.18", "0.00"]
    clean()


def test_what_is_collected_for_an_association_is_no_supply_of_the_club(registered, by, child):
    """Of 228.00 the state gets 71.00 and the nation 45.00: the club supplies 112.00. A rule of this book, no source."""
    state, nation = factories.association("State"), factories.association("National")
    plan = factories.plan(shares=[(state, "71.00"), (nation, "45.00")])
    FeeItem.objects.filter(kind=FeeKind.MEMBERSHIP).update(tax_code="taxable")
    taken = membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by)
    assert stands(Role.GST_COLLECTED, Role.MEMBERSHIPS, Role.AFFILIATION_PAYABLE) == ["10.18", "101.82", "116.00"]
    clean()
    services.credit_charge(charge=taken.charge, amount=as_amount(170), on=NOW, reason="left", by=by)
    assert stands(Role.GST_COLLECTED, Role.MEMBERSHIPS, Role.AFFILIATION_PAYABLE) == ["0.00", "0.00", "58.00"]
    clean()


def test_a_fee_paid_at_the_range_has_its_gst_and_loses_it_when_it_is_cancelled(registered, by):
    factories.hire()
    FeeItem.objects.update(tax_code="taxable")
    day, child = factories.range_day(), factories.PersonFactory()
    signed = rangeday.sign_on(range_day=day, person=child, gear=Gear.HIRE, paid=Paid.CASH, by=by)
    assert stands(Role.HIRE, Role.VISITORS, Role.GST_COLLECTED, Role.TILL) == ["0.00", "13.64", "1.36", "-15.00"]
    clean()
    rangeday.cancel_sign_on(sign_on=signed, on=NOW, reason="mistyped", by=by)
    assert stands(Role.VISITORS, Role.GST_COLLECTED, Role.TILL) == ["0.00"] * 3
    clean()


def test_before_the_club_is_registered_and_without_the_code_there_is_none(taxed, owe, by):
    ledger.register_for_gst(since=date(2026, 9, 13), basis=TaxBasis.CASH, by=by)
    taxed("145.00")
    owe(110, on=date(2026, 9, 13))
    assert balance_of(Role.GST_COLLECTED) == 0


def test_a_club_that_is_not_registered_asks_nothing_more_for_a_fee(owe, by):
    with CaptureQueriesContext(connection) as asked:
        owe(50)
    assert [query["sql"] for query in asked if "gst_from" in query["sql"]] == []
    assert not Account.objects.filter(role__in=(Role.GST, Role.GST_COLLECTED, Role.GST_PAID)).exists()


def test_the_gst_of_a_fee_stays_as_it_was_posted(registered, taxed):
    charge = taxed("145.00")
    with pytest.raises(IntegrityError, match="GST that was posted of a charge stays"), transaction.atomic():
        connection.cursor().execute(f"UPDATE fees_charge SET tax = 1 WHERE id = {charge.pk}")
    assert balance(Role.GST_COLLECTED, NOW) == as_amount("-13.18").amount
