"""Published years of a club, from its receipts and payments to both sides of its balance sheet."""

from datetime import date

import pytest
from django.core.management import call_command

from clubdesk import clock
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind, Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, FinancialYear, Kind, Party, PartyKind, Role
from clubdesk.ledger.posting import Line
from clubdesk.money import as_amount
from clubdesk.reports import statements
from clubdesk.reports.selectors import Figures
from clubdesk.verbs import shell_user
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.world("empty")]


class Club:
    """A club whose book begins on the first day of the published year."""

    def __init__(self, first):
        call_command("start_books", "--club", "Textbook club", "--year-start", first.isoformat())
        self.first, self.by, self.families = first, shell_user(), {}

    def family(self, name):
        return self.families.setdefault(name, factories.HouseholdFactory(name=name))

    def begin(self, lines=(), **owing):
        """By family what it owed for its subscription, or (below nil) had paid ahead."""
        if lines:
            made = [Line(account, as_amount(amount), party) for account, amount, party in lines]
            ledger.record_opening(narration="As printed", lines=made, by=self.by)
        items = [factories.open_item(self.family(name), amount, Role.MEMBERSHIPS) for name, amount in owing.items()]
        fees.bring_in_balances(items=items, by=self.by)

    def charge(self, **subscriptions):
        day = self.first
        for name, amount in subscriptions.items():
            price = factories.price(FeeKind.MEMBERSHIP, str(amount), Role.MEMBERSHIPS, code=f"of-{name}")
            fees.charge(household=self.family(name), price=price, on=day, starts_on=day, by=self.by)

    def receive(self, **amounts):
        for name, amount in amounts.items():
            fees.record_receipt(
                household=self.family(name), amount=as_amount(amount), method=Method.TRANSFER, on=self.first, by=self.by
            )

    def write(self, *lines, on=None):
        made = [Line(account, as_amount(amount), party) for account, amount, party in lines]
        ledger.record_journal(on=on or self.first, narration="As printed", lines=made, by=self.by)

    def figures(self, which):
        """By label the figure of all funds."""
        statement = which(Figures.of_year(FinancialYear.objects.get()), None)
        place = statement.columns.index("Total") if "Total" in statement.columns else 0
        return {row.label: row.figures[place] for row in statement.rows if row.figures}


@pytest.mark.parametrize(("received", "owing_before", "ahead_before", "owing", "ahead", "income"), [
    # A published textbook example for a football club, year to 31 December 2014.
    (397, 64, 31, 95, 42, 417),
    # A published school textbook of double-entry book-keeping, volume 1, chapter 1.
    (10_000, 2_000, 3_000, 4_000, 2_000, 13_000),
    # omtexclasses.com, extracts of receipt and payment account: of 2,750 owing 2,500 came, 250 stays owing.
    (30_250, 2_750, 4_750, 6_250, 1_000, 37_500),
])  # fmt: skip
def test_subscriptions_owed_and_in_advance_stand_apart_on_both_sides(
    received, owing_before, ahead_before, owing, ahead, income
):
    club = Club(date(2014, 1, 1))
    stays = 250 if owing_before == 2_750 else 0
    arrears = {"arrears": owing_before} | ({"never": stays} if stays else {})
    club.begin(**(arrears | {"arrears": owing_before - stays}), early=-ahead_before)
    paid = received - (owing_before - stays) - ahead
    club.charge(early=ahead_before, punctual=paid, late=owing - stays)
    club.receive(arrears=owing_before - stays, punctual=paid, next=ahead)
    earned, stands, money = map(
        club.figures, (statements.income_and_expenditure, statements.balance_sheet, statements.receipts_and_payments)
    )
    assert earned["Memberships"] == income
    assert (stands["Fees owed"], stands["Fees owed, in credit"]) == (owing, ahead)
    assert (money["Memberships"], money["Paid ahead by families, not used yet"]) == (received - ahead, ahead)
    assert money["Money in hand on 31 Dec 2014"] == received


def test_a_social_clubs_year_from_its_receipts_to_its_balance_sheet():
    """Source: "Social Club", year to 31 March 2019, question and printed answer, meritnation.com."""
    club = Club(date(2018, 4, 1))
    make = Account.objects.create
    building, furniture, books = (
        make(code=code, name=name, kind=Kind.ASSET)
        for code, name in (("1600", "Building"), ("1610", "Furniture"), ("1620", "Books"))
    )
    salaries, general, light, papers = (
        make(code=code, name=name, kind=Kind.EXPENSE)
        for code, name in (("5200", "Salaries"), ("5210", "General"), ("5220", "Electricity"), ("5230", "Newspapers"))
    )
    ground, fun, old = (
        make(code=code, name=name, kind=Kind.INCOME)
        for code, name in (("4200", "Hire of ground"), ("4210", "Entertainment"), ("4220", "Old newspapers"))
    )
    staff = Party.objects.create(name="Staff", kind=PartyKind.SUPPLIER)
    opening = [
        (Role.BANK, 7_000, None), (building, 200_000, None), (furniture, 20_000, None), (books, 20_000, None),
        (Role.OTHER_PAYABLES, -6_000, staff), (Role.ACCUMULATED, -241_000, None),
    ]  # fmt: skip
    club.begin(opening, old=5_000, never=1_000)
    club.charge(punctual=20_000, late=5_000)
    club.receive(old=5_000, punctual=20_000, next=4_000)
    for account, amount in ((ground, 14_000), (fun, 8_000), (old, 2_000)):
        club.write((Role.BANK, amount, None), (account, -amount, None))
    club.write((salaries, 22_000, None), (Role.OTHER_PAYABLES, 6_000, staff), (Role.BANK, -28_000, None))
    for account, amount in ((general, 6_000), (light, 4_000), (books, 10_000), (papers, 8_000)):
        club.write((account, amount, None), (Role.BANK, -amount, None))
    last = date(2019, 3, 31)
    with clock.on(last):
        club.write((salaries, 2_000, None), (Role.OTHER_PAYABLES, -2_000, staff), on=last)
        club.write((Role.DEPRECIATION, 2_000, None), (furniture, -2_000, None), on=last)
    earned, stands, money = map(
        club.figures, (statements.income_and_expenditure, statements.balance_sheet, statements.receipts_and_payments)
    )
    funds = statements.movement_of_funds(Figures.of_year(FinancialYear.objects.get()))
    assert (earned["Surplus (deficit)"], funds.rows[0].figures[0], stands["Total assets"]) == (5_000, 247_000, 258_000)
    assert (stands["Fees owed"], stands["Fees owed, in credit"], stands["Other payables"]) == (6_000, 4_000, 2_000)
    assert (money["Total receipts"], money["Total payments"]) == (53_000, 56_000)
    assert money["Money in hand before 1 Apr 2018"] + money["Total receipts"] == 60_000
    assert money["Money in hand on 31 Mar 2019"] == 4_000
